"""Which language somebody reads: what they chose, else what their browser asks for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

MassUnit = Literal["kg", "lb"]
MASS_UNITS: tuple[MassUnit, ...] = ("kg", "lb")

# A language and a country: the country says how dates, times and numbers are written.
LOCALES = ("en_GB", "en_US", "de_DE", "de_AT", "de_CH")


@dataclass(frozen=True)
class Preferences:
    """What a person chose; None where they leave it to the browser.

    locale: one of LOCALES. mass_unit: in which masses are shown and asked for, kg where not said.
    """

    locale: str | None = None
    mass_unit: MassUnit | None = None


def accepted_locale(header: str) -> str:
    """Return the one of LOCALES that an Accept-Language header (RFC 9110, 12.5.4) likes best."""
    weighed = []
    for place, part in enumerate(header.split(",")):
        tag, *options = (piece.strip() for piece in part.split(";"))
        weighed.append((-weight_of(options), place, tag))  # the heavier first, then the earlier
    for tag in (tag.replace("-", "_").lower() for weight, _, tag in sorted(weighed) if weight < 0):
        for locale in LOCALES:
            if locale.lower() == tag:
                return locale
        for locale in LOCALES:
            if locale.split("_")[0] == tag.split("_")[0]:
                return locale
    return LOCALES[0]


def weight_of(options: list[str]) -> float:
    """Return the weight that a language's `q` gives it: 1 where left out, 0 where unreadable."""
    for option in options:
        name, _, value = option.partition("=")
        if name.strip().lower() == "q":
            try:
                return float(value)
            except ValueError:
                return 0.0
    return 1.0
