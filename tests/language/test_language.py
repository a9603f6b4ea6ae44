"""How each language writes numbers, moments and masses, and whose language a page speaks."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from api.language import ENGLISH, LOCALES, Preferences, Sentence, accepted_locale, language
from api.people.service import set_preferences
from api.people.signing_in import open_sign_in, subject_by_sign_in
from api.problems import NotHere
from tests.service.gym import GymUnderTest, make_class

EVENING = datetime(2026, 3, 9, 18, 30, 5, tzinfo=timezone(timedelta(hours=1)))


# From the Common Locale Data Repository, as it is published with Babel.
@pytest.mark.parametrize(
    ("locale", "number", "day", "moment"),
    [
        ("en_GB", "1,234.5", "9 March 2026", "9 March 2026, 18:30"),
        ("en_US", "1,234.5", "March 9, 2026", "March 9, 2026, 6:30 PM"),
        ("de_DE", "1.234,5", "9. März 2026", "9. März 2026, 18:30"),
        ("de_AT", "1.234,5", "9. März 2026", "9. März 2026, 18:30"),
        ("de_CH", "1’234.5", "9. März 2026", "9. März 2026, 18:30"),
    ],
)
def test_a_country_writes_numbers_and_moments_in_its_way(
    locale: str, number: str, day: str, moment: str
) -> None:
    spoken = language(locale)
    assert spoken.number(1234.5) == number
    assert spoken.date(EVENING) == day
    assert spoken.moment(EVENING) == moment


def test_what_is_not_known_is_a_dash_and_never_nought() -> None:
    for write in (ENGLISH.number, ENGLISH.whole, ENGLISH.percent, ENGLISH.seconds, ENGLISH.mass):
        assert write(None) == write(float("nan")) == "–"
    assert ENGLISH.date(None) == ENGLISH.moment(None) == ENGLISH.duration(None) == "–"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0 s"), (45, "45 s"), (150, "2 min 30 s"), (3900, "1 h 5 min"), (-75, "-1 min 15 s")],
)
def test_a_length_of_time_leaves_out_what_is_nought(seconds: float, said: str) -> None:
    assert ENGLISH.duration(seconds).replace("\N{NO-BREAK SPACE}", " ") == said


def test_a_mass_is_shown_and_taken_in_the_unit_of_who_reads() -> None:
    pounds = language("en_US", "lb")
    assert pounds.mass(63.5).replace("\N{NO-BREAK SPACE}", " ") == "140 lb"
    assert language("de_DE").mass(63.5).replace("\N{NO-BREAK SPACE}", " ") == "63,5 kg"
    # 100 lb are 45.359237 kg (international yard and pound agreement, 1959).
    assert pounds.mass_kg(100) == pytest.approx(45.359237, abs=0.005)
    for mass_kg in (20.0, 43.5, 62.25, 400.0):
        assert pounds.mass_kg(pounds.mass_number(mass_kg)) == pytest.approx(mass_kg, abs=0.03)


def test_numbers_inside_a_sentence_are_written_like_all_others() -> None:
    said = Sentence("{first:.1f} of {second}", first=1234.5, second=Sentence("{n} m", n=2000))
    assert said == "1234.5 of 2000 m"
    assert language("de_DE").told(said) == "1.234,5 of 2.000 m"
    assert ENGLISH.told("as it is, {braces} and all") == "as it is, {braces} and all"


@pytest.mark.parametrize(
    ("header", "locale"),
    [
        ("", "en_GB"),
        ("*", "en_GB"),
        ("de", "de_DE"),
        ("de-CH, de;q=0.9", "de_CH"),
        ("fr, en-US;q=0.8, de;q=0.9", "de_DE"),
        ("en-AU", "en_GB"),
        ("de;q=0, en", "en_GB"),
        ("de;q=x", "en_GB"),
    ],
)
def test_a_browser_says_which_language_it_likes(header: str, locale: str) -> None:
    assert accepted_locale(header) == locale


def test_a_persons_choice_comes_before_their_browsers(gym: GymUnderTest) -> None:
    service = gym.service
    with service.database.writing() as session:
        secret = open_sign_in(session, service, person_id=gym.people["ada"])
        ada = subject_by_sign_in(session, secret)
        assert ada.preferences == Preferences()
        set_preferences(session, ada, Preferences("de_AT", "lb"))
    with service.database.reading() as session:
        assert subject_by_sign_in(session, secret).preferences == Preferences("de_AT", "lb")
    page = gym.client("ada").get("/classes", headers={"Accept-Language": "en"})
    assert '<html lang="de">' in page.text
    other = gym.client("bo").get("/classes", headers={"Accept-Language": "en"})
    assert '<html lang="en">' in other.text
    stranger = gym.client().get("/sign-in", headers={"Accept-Language": "de-DE"})
    assert '<html lang="de">' in stranger.text


def test_a_visitor_changes_nobodys_choice(sqlite_gym: GymUnderTest) -> None:
    class_id = make_class(sqlite_gym, "ada")
    service = sqlite_gym.service
    with service.database.writing() as session:
        secret = open_sign_in(
            session, service, person_id=sqlite_gym.people["ada"], visit_class_id=class_id
        )
        with pytest.raises(NotHere):
            set_preferences(session, subject_by_sign_in(session, secret), Preferences("de_DE"))


def test_every_locale_is_known() -> None:
    for name in LOCALES:
        assert language(name).moment(datetime(2026, 12, 31, tzinfo=UTC))
