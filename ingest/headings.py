"""What a CSV's column heading means: quantity and unit, in many spellings.

The list is our own: the words that people and devices use for a quantity in English, German,
French, Spanish, Dutch, Italian and Portuguese, without accents and in small letters, and the units
beside them (common practice, no source; the factors are exact by definition: mile 1609.344 m, yard
0.9144 m, thermochemical calorie 4.184 J).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from ingest.limits import MAX_CELL_CHARACTERS

Quantity = Literal[
    "time",
    "date",
    "heart_rate_bpm",
    "power_w",
    "cadence_per_min",
    "speed_m_s",
    "pace",
    "distance_m",
    "calories",
    "lap",
]

WORDS: Mapping[Quantity, tuple[str, ...]] = {
    "time": (
        "time", "times", "elapsed", "elapsed time", "time elapsed", "timer", "timer time",
        "timestamp", "time stamp", "datetime", "date time", "date and time", "clock",
        "clock time", "time of day", "utc", "utc time", "time utc", "local time", "epoch",
        "epoch time", "unix", "unix time", "seconds", "second", "secs", "sec", "s", "t",
        "milliseconds", "millis", "minutes", "duration", "workout time", "session time",
        "time since start", "time from start", "seconds since start", "since start",
        "seconds elapsed", "secs elapsed", "sec elapsed", "time offset", "run time",
        "runtime", "recording time", "record time", "sample time", "sampled at", "recorded at",
        "measured at", "when", "moment", "ts", "unixtime", "utc timestamp", "timecode",
        "hh mm ss", "h mm ss", "mm ss", "m ss", "time date", "utc date time",
        "zeit", "uhrzeit", "zeitstempel", "dauer", "sekunden", "zeitpunkt", "verstrichene zeit",
        "datum zeit", "datum uhrzeit", "datum und zeit", "datum und uhrzeit",
        "temps", "temps ecoule", "heure", "horodatage", "duree", "secondes", "date heure",
        "date et heure",
        "tiempo", "tiempo transcurrido", "hora", "marca de tiempo", "duracion", "segundos",
        "fecha hora", "fecha y hora",
        "tijd", "tijdstip", "tijdstempel", "verstreken tijd", "duur", "seconden", "datum tijd",
        "ora", "data ora", "tempo trascorso", "data hora", "tempo decorrido",
    ),
    "date": ("date", "day", "datum", "tag", "jour", "fecha", "dia", "dag"),
    "heart_rate_bpm": (
        "heart rate", "heartrate", "heart", "hr", "pulse", "pulse rate", "bpm", "heart beat",
        "beats/min",
        "heartbeat", "beats per minute", "hrm",
        "herzfrequenz", "puls", "pulsfrequenz", "herzschlag", "hf", "herzrate", "schlage/min",
        "frequence cardiaque", "freq cardiaque", "pouls", "fc", "rythme cardiaque",
        "frecuencia cardiaca", "pulso", "pulsaciones", "ritmo cardiaco", "lpm", "ppm",
        "hartslag", "hartfrequentie", "hartritme",
        "frequenza cardiaca", "battito cardiaco", "frequencia cardiaca",
    ),
    "power_w": (
        "power", "pwr", "watt", "watts", "w", "power output", "output", "wattage",
        "leistung", "wattzahl", "puissance", "potencia", "vermogen", "vatios",
        "potenza",
    ),
    "cadence_per_min": (
        "cadence", "cad", "rpm", "spm", "s/m", "sr", "stroke rate", "strokerate",
        "stroke frequency",
        "strokes per minute", "stroke per minute", "rate", "revolutions per minute",
        "strokes/min", "stroke/min", "revolutions/min", "rev/min", "steps/min",
        "pedal cadence", "pedalling rate", "steps per minute", "revs",
        "trittfrequenz", "kadenz", "schlagzahl", "schlagfrequenz", "drehzahl", "schrittfrequenz",
        "cadence de coups", "coups par minute", "frequence de coups",
        "cadencia", "paladas por minuto", "frecuencia de palada",
        "cadenza", "colpi al minuto", "voga",
        "cadans", "trapfrequentie", "slagfrequentie", "slagtempo", "haaltempo",
    ),
    "speed_m_s": (
        "speed", "velocity", "kmh", "km/h", "kph", "mph", "m/s", "mps", "spd",
        "geschwindigkeit", "vitesse", "velocidad", "velocidade", "velocita", "snelheid",
    ),
    "pace": (
        "pace", "split", "/500m", "500m", "/500 m", "500m pace", "500m split", "pace 500m",
        "split 500m", "500 m pace", "500 m split", "min/500m", "time/500m", "sec/500m", "s/500m",
        "time 500m", "/km", "min/km",
        "tempo", "allure", "ritmo",
    ),
    "distance_m": (
        "distance", "dist", "distance covered", "metres", "meters", "metre", "meter", "m", "km",
        "kilometres", "kilometers", "work distance",
        "distanz", "strecke", "entfernung", "kilometer",
        "distancia", "metros", "distanza", "metri", "afstand",
    ),
    "calories": (
        "calories", "calorie", "cals", "cal", "kcal", "kcals", "kilocalories", "energy",
        "energy kcal", "calorie count", "calories burned", "calories burnt",
        "energy expenditure", "energy burned",
        "kalorien", "energie", "energieverbrauch", "calorias", "energia", "calorie bruciate",
        "calorieen",
    ),
    "lap": (
        "lap", "laps", "lap number", "lap no", "lap index", "lap nr", "interval",
        "split no", "split number", "workout interval", "piece", "giro",
        "interval number", "round", "runde", "rundennummer", "intervall", "tour",
        "vuelta", "intervalo", "intervalle", "ronde",
    ),
}  # fmt: skip

UNITS: Mapping[Quantity, Mapping[str, float]] = {
    "time": {
        **dict.fromkeys(
            (
                "s", "sec", "secs", "second", "seconds", "sek", "sekunden", "secondes", "seg",
                "segundos", "seconden",
            ),
            1.0,
        ),
        **dict.fromkeys(("ms", "msec", "millis", "millisecond", "milliseconds"), 1e-3),
        **dict.fromkeys(("min", "mins", "minutes", "minuten", "minutos"), 60.0),
        **dict.fromkeys(("h", "hr", "hrs", "hours", "stunden"), 3600.0),
    },
    "heart_rate_bpm": dict.fromkeys(
        (
            "bpm", "min", "1min", "min1", "beatsmin", "beatsminute", "beats",
            "lpm", "ppm", "schlagemin", "slagenmin", "smin", "battmin", "latmin",
        ),
        1.0,
    ),
    "power_w": {**dict.fromkeys(("w", "watt", "watts", "vatios"), 1.0), "kw": 1000.0},
    "cadence_per_min": {
        **dict.fromkeys(
            (
                "rpm", "spm", "min", "1min", "min1", "strokesmin", "strokemin", "strokesminute",
                "strmin", "sm", "revmin", "revsmin", "revolutionsmin", "stepsmin", "umin", "trmin",
                "upm", "smin", "slmin", "schlagemin", "coupsmin", "slagenmin",
            ),
            1.0,
        ),
        **dict.fromkeys(("hz", "rps", "s1", "1s"), 60.0),
    },
    "speed_m_s": {
        **dict.fromkeys(("ms", "mps", "msec", "ms1", "meterssecond", "metressecond"), 1.0),
        **dict.fromkeys(("kmh", "kph", "kmhr", "kmph", "kmu", "kmstd", "kmh1"), 1 / 3.6),
        **dict.fromkeys(("mph", "mih", "mileshour", "mileh"), 0.44704),
    },
    "distance_m": {
        **dict.fromkeys(("m", "metres", "meters", "meter", "metre", "metros", "mtr"), 1.0),
        **dict.fromkeys(("km", "kilometres", "kilometers", "kilometer"), 1000.0),
        **dict.fromkeys(("mi", "mile", "miles"), 1609.344),
        **dict.fromkeys(("yd", "yds", "yards"), 0.9144),
        "cm": 0.01,
    },
    "calories": {
        **dict.fromkeys(("kcal", "cal", "cals", "calories", "kilocalories", "kcals"), 1.0),
        "kj": 1 / 4.184,
    },
    "lap": dict.fromkeys(("no", "nr", "number", "index"), 1.0),
    "date": {},
}  # fmt: skip

PACE_UNIT = re.compile(
    r"(?P<per>min|mins|minutes|m|s|sec|secs|seconds|mmss|mss|mmsss|mmssss|hmmss|hhmmss|time)?"
    r"(?P<length>500m|500|km|1000m|1km|mi|mile|100m)"
)
PACE_METRES = {
    "500m": 500.0,
    "500": 500.0,
    "km": 1000.0,
    "1km": 1000.0,
    "1000m": 1000.0,
    "mi": 1609.344,
    "mile": 1609.344,
    "100m": 100.0,
}
PACE_DEFAULT_METRES = 500.0

NO_UNIT = ("mmss", "hhmmss", "hmmss", "mss", "iso", "iso8601", "utc", "gmt", "local", "z",
           "unix", "epoch", "localtime", "yyyymmdd", "yyyymmddhhmmss", "datetime")  # fmt: skip
"""What may stand where a time's unit would and says only how it is written."""

AVERAGED = frozenset({"average", "avg", "mean", "durchschnittliche", "moyenne", "media", "gem"})
COUNTED = frozenset({"delta", "increment", "incremental", "diff", "since last sample"})
MODIFIERS = frozenset({
    "current", "actual", "instant", "instantaneous", "inst", "total", "cumulative",
    "accumulated", "cum", "running", "measured", "value", "values", "data", "sensor", "machine",
    "monitor", "recorded", "reading", "gesamt", "aktuelle", "aktueller", "totale",
    "totaal", "actuel", "actuelle", "accumulees", "acumulada", "cumulee", "device",
})  # fmt: skip


@dataclass(frozen=True)
class Heading:
    """What one column holds.

    factor: turns a value into the quantity's unit; for a pace, the metres that it is for.
    unit: the unit as written, letters and digits only; None where the heading names none.
    averaged: a mean since the last sample. counted: a count since the last sample.
    """

    quantity: Quantity
    factor: float
    unit: str | None
    averaged: bool = False
    counted: bool = False


def heading_of(text: str) -> Heading | None:
    """Give the meaning of a heading, or None where it is not one that we know.

    Every word must be known: `Max HR`, `Target power` or `Cal/h` are other quantities.
    """
    if len(text) > MAX_CELL_CHARACTERS:
        return None
    plain = plain_letters(text)
    brackets = re.findall(r"[(\[{<]([^)\]}>]*)[)\]}>]", plain)
    rest = re.sub(r"[(\[{<][^)\]}>]*[)\]}>]?", " ", plain)
    words = [word for word in re.split(r"[\s_,:;#=\-]+|\.(?=\D|$)", rest) if word]
    counted = any(word in COUNTED for word in words) or "since last sample" in " ".join(words)
    averaged = any(word in AVERAGED for word in words)
    whole = " ".join(words)
    skip = MODIFIERS | AVERAGED | COUNTED | ({"since", "last", "sample"} if counted else set())
    words = [word for word in words if word not in skip and word != "/"]
    if whole in WORDS["time"]:  # `recorded at`: what else says no more is here the phrase
        words = whole.split()
    if brackets and words:
        phrase, unit = " ".join(words), "".join(brackets)
        return match(phrase, unit, averaged=averaged, counted=counted) or match(
            phrase.replace("/", " "), unit, averaged=averaged, counted=counted
        )
    if brackets:
        words = [word for word in re.split(r"[\s_]+", brackets[0]) if word]
    return (
        in_words(words, averaged=averaged, counted=counted)
        or over_unit(words, averaged=averaged, counted=counted)
        or in_words(" ".join(words).replace("/", " ").split(), averaged=averaged, counted=counted)
    )


def in_words(words: Sequence[str], *, averaged: bool, counted: bool) -> Heading | None:
    """Heading of a phrase, alone or with its unit behind it: `stroke rate spm`."""
    for split in range(len(words), 0, -1):
        unit = " ".join(words[split:]) if split < len(words) else None
        found = match(" ".join(words[:split]), unit, averaged=averaged, counted=counted)
        if found is not None:
            return found
    return None


def over_unit(words: Sequence[str], *, averaged: bool, counted: bool) -> Heading | None:
    """Heading of a quantity over its unit, as in `HR/bpm`."""
    if len(words) != 1 or "/" not in words[0].strip("/"):
        return None
    phrase, unit = words[0].split("/", 1)
    return match(phrase, unit, averaged=averaged, counted=counted)


def match(phrase: str, unit_text: str | None, *, averaged: bool, counted: bool) -> Heading | None:
    """Heading of a phrase and a unit, where both are known together."""
    for quantity, phrases in WORDS.items():
        if phrase not in phrases:
            continue
        # a unit that is the whole heading is its own phrase
        unit = bare(phrase if unit_text is None else unit_text)
        if quantity == "pace":
            found = PACE_UNIT.fullmatch(unit) or PACE_UNIT.search(bare(phrase))
            if found is None and unit_text and not re.fullmatch(r"[ms:h.]*|min", unit_text):
                continue
            metres = PACE_METRES[found["length"]] if found else PACE_DEFAULT_METRES
            return Heading("pace", metres, found["per"] if found else unit_text, averaged)
        factor = UNITS[quantity].get(unit)
        if factor is not None:
            return Heading(quantity, factor, unit, averaged, counted)
        if unit_text is None or (quantity in {"time", "date"} and unit in NO_UNIT):
            return Heading(quantity, 1.0, None, averaged, counted)
    return None


def plain_letters(text: str) -> str:
    """Small letters without accents, with spaces where a capital starts a word."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text.strip().strip("\"'"))
    decomposed = unicodedata.normalize("NFKD", spaced)
    return "".join(one for one in decomposed if not unicodedata.combining(one)).casefold().strip()


def bare(unit: str) -> str:
    """Letters and digits of a unit, `per` left out: `m/s`, `m s-1` less its sign, `km_h`."""
    return re.sub(r"[^a-z0-9]", "", re.sub(r"\bper\b", "", unit))
