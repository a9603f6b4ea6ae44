"""What a machine's file says of power, from the file's columns to the energy of a step."""

from datetime import UTC, datetime

import pytest

from reconcile.classes import Athlete, ClassRecord, Upload
from reconcile.energy import work
from reconcile.engine import reconcile_class
from reconcile.plan import Plan, Step, Task, TimedBlock
from tests.reconcile.flywheel import Channel, sampled, spun

START = datetime(2026, 3, 9, 17, 30, tzinfo=UTC)
WATTS, MASS_KG, WORK_S, REST_S = 180.0, 70.0, 90.0, 60.0


def energies(channels: tuple[Channel, ...], overrun_s: float = 0.0) -> list[tuple[float, str]]:
    """Energy and method of each step of four rounds on a bike, pulled evenly from bell to bell."""
    most = Task("machine", measure="calories", most=True)
    block = TimedBlock("main", 4, (Step("work", WORK_S, (most,)), Step("rest", REST_S)))
    bells = [number * (WORK_S + REST_S) for number in range(4)]
    pulls = [(bell, bell + WORK_S + overrun_s, WATTS) for bell in bells]
    recording = sampled(spun(pulls, 0.0, 4 * (WORK_S + REST_S), "bike"), channels)
    upload = Upload("a01.bike.fit", ("a01",), "bike", recording)
    athlete = Athlete("a01", "f", 1992, MASS_KG)
    record = ClassRecord(Plan("Wheels", (block,)), START, 60.0, (athlete,), (), (upload,))
    said = [step.energy for step in reconcile_class(record).athletes[0].intervals]
    return [(one.kcal, one.method) for one in said if one is not None]


@pytest.mark.parametrize(
    "channels", [("power",), ("count",), ("distance",)], ids=["power", "its count", "its distance"]
)
def test_a_bike_s_energy_rests_on_whatever_its_file_tells_of_power(
    channels: tuple[Channel, ...],
) -> None:
    expected = float(work.energy(WATTS, 0.225, MASS_KG)) * WORK_S / 60
    for kcal, method in energies(channels)[::2]:
        assert kcal == pytest.approx(expected, rel=0.08)
        assert "machine" in method


def test_strokes_past_the_bell_cost_the_rest_nothing() -> None:
    rest = 2.3 * MASS_KG / 60 * REST_S / 60
    for kcal, method in energies(("power", "count", "distance"), overrun_s=2.5)[1::2]:
        assert kcal == pytest.approx(rest, rel=0.01)
        assert method == "activity-table"
