"""Energy against measured gas exchange: figures of merit on open data, and a picture.

Run as `python -m tests.bench.energy_bench`. The data (Beltrame et al. 2017, Scientific Reports
7:45738, CC BY 4.0: 16 people, heart rate and oxygen uptake at 1 Hz in light activity) lie beside
the repository and are not part of it. They hold no age, sex or carbon dioxide, so equations that
need these are not run here. Every figure is out of sample: a person's own line is tested on the
half in time that it was not fitted on, the population's line and both spreads come from the other
15 people only.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import svg
from scipy import stats

from ingest.recording import Floats
from reconcile.energy import own_line, weir

DATA = Path(__file__).parents[3] / "shared/reference/data/beltrame2017.csv.gz"
OUTPUT = Path(__file__).parents[2] / "bench-output"
COUNTED_FROM_KCAL_MIN = 4.0
ANCHORS_BPM = (80.0, 110.0)
# The largest error, and the coverage, that pass.
OWN_LIMIT, POPULATION_LIMIT, COVERAGE_LIMITS = 0.093, 0.158, (0.93, 0.97)


@dataclass(frozen=True, eq=False)
class Person:
    """One person's one-minute means: heart rate, and energy in kcal/min per kilogram."""

    mass_kg: float
    heart_rate_bpm: Floats
    rate_per_kg: Floats


@dataclass(frozen=True, eq=False)
class Predictions:
    """Predicted and measured energy of one-minute windows, kcal/min, with 95 % ranges."""

    predicted: Floats
    measured: Floats
    half_width: Floats

    @property
    def counted(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """The windows that the mean error is taken over."""
        return np.asarray(self.measured > COUNTED_FROM_KCAL_MIN)

    @property
    def mean_error(self) -> float:
        """Mean relative error of the counted windows."""
        error = np.abs(self.predicted - self.measured) / self.measured
        return float(error[self.counted].mean())

    @property
    def bias(self) -> float:
        """Mean signed relative error of the counted windows."""
        return float(((self.predicted - self.measured) / self.measured)[self.counted].mean())

    @property
    def coverage(self) -> float:
        """Share of all windows whose measured value lies in the range."""
        return float((np.abs(self.predicted - self.measured) <= self.half_width).mean())

    @property
    def mean_width(self) -> float:
        """Mean width of the range, kcal/min."""
        return float(2 * self.half_width.mean())

    @property
    def relative_width(self) -> float:
        """Mean width of the range over the measured value."""
        return float((2 * self.half_width / self.measured).mean())


def read(path: Path) -> dict[int, Person]:
    """The people of the data as one-minute means of whole minutes."""
    table = pd.read_csv(path)
    people = {}
    for number, own in table.groupby("ID"):
        whole = len(own) // 60 * 60
        minutes = np.arange(whole) // 60
        means = own.iloc[:whole].groupby(minutes)[["HR", "VO2"]].mean()
        mass_kg = float(own["Weight"].iloc[0])
        oxygen_l_min = means["VO2"].to_numpy(dtype=np.float64) / 1000
        people[int(str(number))] = Person(
            mass_kg,
            means["HR"].to_numpy(dtype=np.float64),
            weir.KCAL_PER_LITRE_OXYGEN * oxygen_l_min / mass_kg,
        )
    return people


def halves(person: Person) -> list[tuple[slice, slice]]:
    """Both ways to learn on one half in time and be tested on the other."""
    middle = len(person.heart_rate_bpm) // 2
    early, late = slice(0, middle), slice(middle, None)
    return [(early, late), (late, early)]


def population(people: Mapping[int, Person]) -> own_line.Line:
    """The least-squares line through everybody's minutes, and how own lines lie about it."""
    vague = own_line.prior_line(ANCHORS_BPM, np.array([0.05, 0.05]), np.array([1e3, 1e3]), 0.0)

    def through(some: list[Person]) -> Floats:
        heart = np.concatenate([person.heart_rate_bpm for person in some])
        rate = np.concatenate([person.rate_per_kg for person in some])
        return own_line.fit(vague, heart, rate, np.full(len(rate), 0.01)).values

    pooled = through(list(people.values()))
    apart = np.array([through([person]) - pooled for person in people.values()])
    return own_line.Line(ANCHORS_BPM, pooled, apart.T @ apart / len(apart))


def own_predictions(person: Person, prior: own_line.Line, scatter: float) -> tuple[Floats, Floats]:
    """The person's own line, shrunk to the prior: predicted and measured, kcal/min per kilogram.

    scatter: of one minute about a line. Minutes follow each other, so three count as one.
    """
    predicted, measured = [], []
    for learnt, tested in halves(person):
        heart, rate = person.heart_rate_bpm[learnt], person.rate_per_kg[learnt]
        line = own_line.fit(prior, heart, rate, np.full(len(rate), scatter * np.sqrt(3)))
        predicted.append(line.at(person.heart_rate_bpm[tested])[0])
        measured.append(person.rate_per_kg[tested])
    return np.concatenate(predicted), np.concatenate(measured)


def root_mean_square(misses: list[Floats]) -> float:
    """Root of the mean over people of each person's mean squared miss."""
    return float(np.sqrt(np.mean([np.mean(miss**2) for miss in misses])))


def evaluate(people: Mapping[int, Person]) -> dict[str, Predictions]:
    """Predictions of the population's line and of own lines, each out of sample."""
    columns: dict[str, list[tuple[Floats, Floats, Floats]]] = {
        "population line": [],
        "own line": [],
    }
    # The spread is learnt from so few people that the normal's 1.96 would be too sure.
    reach = float(stats.t.ppf(0.975, len(people) - 2))
    for number, person in people.items():
        others = {key: other for key, other in people.items() if key != number}
        line = population(others)
        misses = [other.rate_per_kg - line.at(other.heart_rate_bpm)[0] for other in others.values()]
        scatter = root_mean_square([miss - miss.mean() for miss in misses])
        spread = {"population line": root_mean_square(misses)}
        own_misses = []
        for other in others.values():
            predicted, measured = own_predictions(other, line, scatter)
            own_misses.append(measured - predicted)
        spread["own line"] = root_mean_square(own_misses)
        whole = line.at(person.heart_rate_bpm)[0], person.rate_per_kg
        own = own_predictions(person, line, scatter)
        for name, (predicted, measured) in {"population line": whole, "own line": own}.items():
            half_width = np.full(len(predicted), reach * spread[name])
            mass = person.mass_kg
            columns[name].append((predicted * mass, measured * mass, half_width * mass))
    return {
        name: Predictions(*(np.concatenate(column) for column in zip(*found, strict=True)))
        for name, found in columns.items()
    }


def table(results: Mapping[str, Predictions]) -> str:
    """The figures of merit as text."""
    head = f"{'one-minute windows':18} {'error':>7} {'limit':>7} {'bias':>7} {'cover':>7} "
    lines = [head + f"{'width':>13} {'of value':>9}"]
    limits = {"own line": OWN_LIMIT, "population line": POPULATION_LIMIT}
    for name, result in results.items():
        lines.append(
            f"{name:18} {result.mean_error:7.1%} {limits[name]:7.1%} {result.bias:+7.1%} "
            f"{result.coverage:7.1%} {result.mean_width:6.2f} kcal/min {result.relative_width:8.0%}"
        )
    lines.append(
        f"error and bias above {COUNTED_FROM_KCAL_MIN:g} kcal/min; cover and width of 95 % ranges, "
        "all windows"
    )
    return "\n".join(lines)


def picture(results: Mapping[str, Predictions]) -> str:
    """Predicted over measured for each line, with the 95 % ranges, as SVG."""
    side, gap, top = 340.0, 70.0, 50.0
    most = 14.0
    drawn: list[svg.Element] = [
        svg.Title(text="Energy of one-minute windows: predicted from heart rate over measured"),
        svg.Rect(x=0, y=0, width=2 * (side + gap), height=side + top + gap, fill="white"),
    ]
    for index, (name, result) in enumerate(results.items()):
        left = gap + index * (side + gap) - 15

        def place(measured: float, predicted: float, left: float = left) -> tuple[float, float]:
            return left + side * measured / most, top + side * (1 - predicted / most)

        drawn.append(
            svg.Text(
                x=left, y=top - 18, font_size=13, font_family="sans-serif",
                text=f"{name}: mean error {result.mean_error:.1%}, "
                f"95 % ranges hold {result.coverage:.1%}",
            )
        )  # fmt: skip
        for value in range(0, int(most) + 1, 2):
            x, y = place(value, value)
            drawn += [
                svg.Line(x1=x, y1=top, x2=x, y2=top + side, stroke="#ddd"),
                svg.Line(x1=left, y1=y, x2=left + side, y2=y, stroke="#ddd"),
                svg.Text(x=x - 4, y=top + side + 16, text=str(value), font_size=11),
                svg.Text(x=left - 20, y=y + 4, text=str(value), font_size=11),
            ]
        for measured, predicted, half in zip(
            result.measured, result.predicted, result.half_width, strict=True
        ):
            x, low = place(float(measured), max(float(predicted - half), 0.0))
            _, high = place(float(measured), min(float(predicted + half), most))
            _, y = place(float(measured), float(predicted))
            drawn += [
                svg.Line(x1=x, y1=low, x2=x, y2=high, stroke="black", stroke_opacity=0.06),
                svg.Circle(cx=x, cy=y, r=1.6, fill="black", fill_opacity=0.55),
            ]
        (x1, y1), (x2, y2) = place(0, 0), place(most, most)
        drawn += [
            svg.Line(x1=x1, y1=y1, x2=x2, y2=y2, stroke="black", stroke_dasharray=[5, 4]),
            svg.Text(
                x=left, y=top + side + 36, font_size=12, font_family="sans-serif",
                text="across: measured, up: predicted, kcal/min",
            ),
        ]  # fmt: skip
    canvas = svg.SVG(width=2 * (side + gap), height=side + top + gap, elements=drawn)
    return canvas.as_str()


def main() -> int:
    """Print the table, write the picture; 1 where a figure misses its limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, default=DATA)
    parser.add_argument("--picture", type=Path, default=OUTPUT / "energy.svg")
    arguments = parser.parse_args()
    if not arguments.data.exists():
        print(f"no gas-exchange data at {arguments.data}: nothing to measure against")
        return 0
    results = evaluate(read(arguments.data))
    print(table(results))
    arguments.picture.parent.mkdir(parents=True, exist_ok=True)
    arguments.picture.write_text(picture(results), encoding="utf-8")
    print(f"picture: {arguments.picture}")
    low, high = COVERAGE_LIMITS
    held = all(low <= result.coverage <= high for result in results.values())
    held &= results["own line"].mean_error <= OWN_LIMIT
    held &= results["population line"].mean_error <= POPULATION_LIMIT
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
