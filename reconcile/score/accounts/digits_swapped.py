"""`digits_swapped`: a slip of the pen in one number."""

from __future__ import annotations

from collections.abc import Iterator

from reconcile.score import priors
from reconcile.score.digits import mistyped, swapped
from reconcile.score.readings import Readings
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet, follows


def digits_swapped(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """Two digits swapped, or one mistyped, in the score or in one of the rounds."""
    origins = {
        **{o: priors.MISTYPED_SHARE * share for o, share in mistyped(sheet.total).items()},
        **{o: priors.SWAPPED_SHARE * share for o, share in swapped(sheet.total).items()},
    }
    if sheet.rounds is None:
        if not sheet.evidence.direct:
            return  # what the score should have been is not known well enough to see a slip
        scores = readings.honest_scores(list(origins))
        for (origin, share), likelihood in zip(origins.items(), scores, strict=True):
            yield Account(
                "digits_swapped", share, float(likelihood), origin, facts={"origin": origin}
            )
        return
    if not sheet.consistent:
        skipped = sheet.evidence.skipped
        for origin, share in origins.items():
            if follows(origin, sheet.rounds, sheet.take, skipped):
                likelihood = 0.8 * readings.honest_rounds(sheet.rounds)
                yield Account("digits_swapped", share, likelihood, origin, facts={"origin": origin})
    for place, value in enumerate(sheet.rounds):
        for origin, share in swapped(value).items():
            values = (*sheet.rounds[:place], origin, *sheet.rounds[place + 1 :])
            if sheet.consistent or follows(sheet.total, values, sheet.take):
                likelihood = 0.2 / len(sheet.rounds) * readings.honest_rounds(values)
                facts = {"round": place + 1, "origin": origin, "written": value}
                yield Account(
                    "digits_swapped", share, likelihood, take_of(values, sheet.take), facts=facts
                )
