"""Lines from heart rate to energy against measured gas exchange, out of sample.

Beltrame et al. 2017, Scientific Reports 7:45738 (CC BY 4.0): 16 people, 1 Hz, light activity.
"""

import numpy as np
import pytest

from tests.bench import energy_bench
from tests.bench.energy_bench import Predictions


@pytest.fixture(scope="module")
def results() -> dict[str, Predictions]:
    if not energy_bench.DATA.exists():
        pytest.skip("the gas-exchange data are not here: ../shared/reference/data")
    return energy_bench.evaluate(energy_bench.read(energy_bench.DATA))


def test_an_own_line_learnt_on_one_half_is_within_9_3_percent_on_the_other(
    results: dict[str, Predictions],
) -> None:
    assert results["own line"].mean_error <= 0.093


def test_a_population_line_of_the_other_people_is_within_15_8_percent(
    results: dict[str, Predictions],
) -> None:
    assert results["population line"].mean_error <= 0.158


@pytest.mark.parametrize("line", ["own line", "population line"])
def test_ranges_of_one_minute_windows_hold_93_to_97_percent(
    results: dict[str, Predictions], line: str
) -> None:
    assert 0.93 <= results[line].coverage <= 0.97


def test_the_population_line_is_numpy_s_least_squares_line() -> None:
    if not energy_bench.DATA.exists():
        pytest.skip("the gas-exchange data are not here: ../shared/reference/data")
    people = energy_bench.read(energy_bench.DATA)
    heart = np.concatenate([person.heart_rate_bpm for person in people.values()])
    rate = np.concatenate([person.rate_per_kg for person in people.values()])
    slope, intercept = np.polyfit(heart, rate, 1)
    values, _ = energy_bench.population(people).at(np.array([85.0, 120.0]))
    assert values == pytest.approx(slope * np.array([85.0, 120.0]) + intercept, rel=1e-3)


def test_the_picture_shows_every_window(results: dict[str, Predictions]) -> None:
    drawn = energy_bench.picture(results)
    windows = sum(len(result.measured) for result in results.values())
    assert drawn.count("<circle") == windows
