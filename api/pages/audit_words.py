"""The audit log's lines in words."""

from __future__ import annotations

from typing import Any

from api.language import Language, deferred

ACTIONS = {
    "backup.restore": deferred("laid a backup back"),
    "class.add": deferred("made a class"),
    "class.change": deferred("changed a class"),
    "class.delete": deferred("deleted a class"),
    "class.export": deferred("took a class out as a folder"),
    "class.import": deferred("took a class folder in"),
    "consent.answer": deferred("answered a question of consent"),
    "gym.change": deferred("changed the gym's settings"),
    "gym.open": deferred("opened the gym"),
    "link.make": deferred("made a personal link"),
    "link.revoke": deferred("revoked a personal link"),
    "person.add": deferred("added somebody"),
    "person.change": deferred("changed what is known of somebody"),
    "person.erase": deferred("erased somebody"),
    "person.roles": deferred("changed what somebody is in the gym"),
    "pin.add": deferred("fixed a recording's place or owner"),
    "pin.undo": deferred("undid the fixing of a place or owner"),
    "plan.add": deferred("wrote a plan"),
    "plan.edit": deferred("kept a new version of a plan"),
    "question.decide": deferred("settled a question about a score"),
    "recording.delete": deferred("deleted a recording"),
    "recordings.retention": deferred("deleted recordings past the gym's keeping"),
    "roster.set": deferred("said who took part"),
    "score.log": deferred("logged a score"),
    "score.sheet": deferred("logged scores from a sheet"),
    "sign-in.end": deferred("signed a device out"),
    "sign-in.end-all": deferred("signed somebody out everywhere"),
    "sign-in.open": deferred("signed in"),
    "starts.record": deferred("ran the clock, which recorded when blocks began"),
    "starts.set": deferred("set by hand when blocks began"),
    "token.make": deferred("made a token for a program"),
    "token.revoke": deferred("revoked a token"),
    "upload.keep": deferred("uploaded files"),
    "upload.refuse": deferred("uploaded a file that was not taken"),
    "verdict.dispute": deferred("disputed a verdict"),
    "verdict.take-back": deferred("took back what was disputed"),
    "visit.confirm": deferred("confirmed who a visitor is"),
    "visit.open": deferred("signed in by the code on the wall"),
    "wall.renew": deferred("took a new code for the wall"),
}


DETAILS = {
    "agreed": deferred("agreed"),
    "athletes": deferred("athletes"),
    "blocks": deferred("blocks"),
    "classes": deferred("classes"),
    "cleared": deferred("cleared"),
    "code": deferred("why"),
    "fields": deferred("fields"),
    "files": deferred("files"),
    "kind": deferred("kind"),
    "made_at": deferred("made at"),
    "outcome": deferred("outcome"),
    "person": deferred("person"),
    "purpose": deferred("purpose"),
    "roles": deferred("roles"),
    "rows": deferred("rows"),
    "scopes": deferred("scopes"),
    "sent_as": deferred("sent as"),
    "size": deferred("bytes"),
    "version": deferred("version"),
}


def detail_words(language: Language, detail: dict[str, Any]) -> str:
    """What more a line says: counts, and codes as they stand."""
    parts = []
    for name, value in detail.items():
        text = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
        parts.append(f"{language.text(DETAILS.get(name, name))}: {text}")
    return "; ".join(parts)
