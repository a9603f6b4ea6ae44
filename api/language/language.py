"""One language as the pages speak it: translated sentences, and numbers and times in its way."""

from __future__ import annotations

import importlib.resources
import io
import math
import string
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import cache
from typing import Any, Literal

from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.lists import format_list
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import format_decimal, format_percent
from babel.support import NullTranslations, Translations

from api.language.choosing import MassUnit
from reconcile.sentence import Sentence

NOT_KNOWN = "–"
KG_PER_LB = 0.45359237  # exact: international yard and pound agreement, 1959
JOINED = "\N{NO-BREAK SPACE}"  # a number and its unit stay on one line


@cache
def translations(code: str) -> NullTranslations:
    """Return a language's catalogue, read from its committed text; English is the key itself."""
    source = importlib.resources.files("api.language") / "catalogues" / f"{code}.po"
    if not source.is_file():
        return NullTranslations()
    with source.open("rb") as file:
        catalogue = read_po(file, locale=code)
    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    return Translations(compiled)


class NumbersInPlace(string.Formatter):
    """Fills `{name}` and `{name:.1f}` with numbers as the language writes them."""

    def __init__(self, language: Language) -> None:
        self.language = language

    def format_field(self, value: Any, format_spec: str) -> str:
        """Write one value; a number's spec says how many digits follow the point."""
        if isinstance(value, Sentence):
            return self.language.told(value)
        if isinstance(value, float | int) and not isinstance(value, bool):
            fixed = format_spec.startswith(".") and format_spec.endswith("f")
            return self.language.number(value, int(format_spec[1:-1]) if fixed else None)
        return str(super().format_field(value, format_spec))


@dataclass(frozen=True)
class Language:
    """A language with a country's way of writing, and a unit of mass.

    Values that are not known (None or NaN) are written as a dash.
    """

    locale: Locale
    mass_unit: MassUnit = "kg"
    translations: NullTranslations = field(default_factory=NullTranslations, compare=False)

    @property
    def code(self) -> str:
        """The language's code, as in `<html lang>`."""
        return str(self.locale.language)

    def text(self, message: str, **values: Any) -> str:
        """Translate a sentence and fill its `{name}` places; numbers are written in its way.

        One that has its values with it needs no others.
        """
        if isinstance(message, Sentence):
            return self.told(message)
        return self.filled(self.translations.gettext(message), values)

    def told(self, text: str) -> str:
        """Say a sentence of the engine in this language; text of another making stays as it is."""
        if not isinstance(text, Sentence):
            return text
        template = self.translations.gettext(text.template)
        return NumbersInPlace(self).vformat(template, (), text.values)

    def plural(self, one: str, many: str, count: int, **values: Any) -> str:
        """Translate a sentence about `{count}` things."""
        message = self.translations.ngettext(one, many, count)
        return self.filled(message, {"count": count, **values})

    def filled(self, message: str, values: dict[str, Any]) -> str:
        """Fill the places of a translated sentence; without values it stays as it is."""
        return NumbersInPlace(self).vformat(message, (), values) if values else message

    def number(self, value: float | None, digits: int | None = None) -> str:
        """Write a number: with so many digits after the point, or with up to two where needed."""
        if value is None or math.isnan(value):
            return NOT_KNOWN
        pattern = "#,##0.##" if digits is None else "#,##0" + "." * bool(digits) + "0" * digits
        return str(format_decimal(value, format=pattern, locale=self.locale))

    def whole(self, value: float | None) -> str:
        """Write a number without digits after the point."""
        return self.number(value, 0)

    def percent(self, share: float | None) -> str:
        """Write a share (0 to 1) as whole per cent."""
        if share is None or math.isnan(share):
            return NOT_KNOWN
        return str(format_percent(share, locale=self.locale))

    def date(self, day: date | None, length: Literal["long", "medium", "short"] = "long") -> str:
        """Write a day; a moment's is that of its own offset."""
        return NOT_KNOWN if day is None else str(format_date(day, length, locale=self.locale))

    def time_of_day(self, moment: datetime | time | None, *, seconds: bool = False) -> str:
        """Write the time of the clock on the wall, in 12 or 24 hours as the country does."""
        if moment is None:
            return NOT_KNOWN
        twelve = "a" in self.locale.time_formats["short"].pattern
        skeleton = ("hm" if twelve else "Hm") + "s" * seconds
        return str(format_skeleton(skeleton, moment, locale=self.locale)).replace("\u202f", " ")

    def moment(self, moment: datetime | None) -> str:
        """Write day and time of day."""
        if moment is None:
            return NOT_KNOWN
        return f"{self.date(moment)}, {self.time_of_day(moment)}"

    def seconds(self, value_s: float | None, digits: int = 0) -> str:
        """Write seconds with their unit."""
        return self.with_unit(value_s, "s", digits)

    def duration(self, value_s: float | None) -> str:
        """Write a length of time in hours, minutes and seconds, leaving out what is 0."""
        if value_s is None or math.isnan(value_s):
            return NOT_KNOWN
        minutes, rest = divmod(round(abs(value_s)), 60)
        hours, minutes = divmod(minutes, 60)
        parts = ((hours, "h"), (minutes, "min"), (rest, "s"))
        said = " ".join(f"{count}{JOINED}{unit}" for count, unit in parts if count)
        return ("-" if value_s < 0 else "") + (said or f"0{JOINED}s")

    def mass_number(self, mass_kg: float | None) -> float | None:
        """Return a mass in the person's unit, as a form's field holds it; to a tenth."""
        if mass_kg is None:
            return None
        return round(mass_kg if self.mass_unit == "kg" else mass_kg / KG_PER_LB, 1)

    def mass_kg(self, number: float | None) -> float | None:
        """Return in kilograms what a person wrote in their unit."""
        if number is None:
            return None
        return number if self.mass_unit == "kg" else round(number * KG_PER_LB, 2)

    def mass(self, mass_kg: float | None) -> str:
        """Write a mass with its unit; to the pound, or to a tenth of a kilogram where needed."""
        value = self.mass_number(mass_kg)
        digits = 0 if value is not None and (self.mass_unit == "lb" or value % 1 == 0) else 1
        return self.with_unit(value, self.mass_unit, digits)

    def with_unit(self, value: float | None, unit: str, digits: int | None = None) -> str:
        """Write a number with a unit that every language writes alike."""
        if value is None or math.isnan(value):
            return NOT_KNOWN
        return f"{self.number(value, digits)}{JOINED}{unit}"

    def listed(self, words: Iterable[str], kind: Literal["and", "or"] = "and") -> str:
        """Join words: with commas, and the language's own word before the last."""
        style: Literal["standard", "or"] = "standard" if kind == "and" else "or"
        found: Sequence[str] = list(words)
        return str(format_list(found, style, locale=self.locale))


@cache
def language(locale: str, mass_unit: MassUnit = "kg") -> Language:
    """Return the language of one of the locales."""
    found = Locale.parse(locale)
    return Language(found, mass_unit, translations(found.language))


ENGLISH = language("en_GB")
