"""The languages of whatever people read: one catalogue each, and how numbers and times look."""

from __future__ import annotations

from api.language.choosing import LOCALES, MASS_UNITS, MassUnit, Preferences, accepted_locale
from api.language.language import ENGLISH, Language, language
from reconcile.sentence import Sentence, deferred

__all__ = [
    "ENGLISH",
    "LOCALES",
    "MASS_UNITS",
    "Language",
    "MassUnit",
    "Preferences",
    "Sentence",
    "accepted_locale",
    "deferred",
    "language",
]
