"""Free text to the Compendium's rows, and ACSM's equations where the pace is known."""

import pytest

from reconcile.energy import acsm, movements
from reconcile.energy.compendium import ROWS
from reconcile.energy.movements import MOVEMENTS, UNKNOWN, Movement, movement, paced_met, row_of


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("sandbag carry", "carry"),
        ("Farmer's walk with two bells, carried", "carry"),
        ("suitcase carry", "carry"),
        ("box step-up", "step-up"),
        ("Step ups", "step-up"),
        ("hip hinge", "hip hinge"),
        ("kettlebell swing", "swing"),
        ("goblet squat", "squat"),
        ("air squat", "air squat"),
        ("shoulder press", "press and pull"),
        ("bench press", "press and pull"),
        ("bent-over row", "press and pull"),
        ("dumbbell row", "press and pull"),
        ("rower", "rowing machine"),
        ("rowing machine", "rowing machine"),
        ("ski", "ski machine"),
        ("bike", "bike"),
        ("machine", "machine"),
        ("burpee", "burpee"),
        ("rope jump", "rope jumping"),
        ("jump rope", "rope jumping"),
        ("double-unders", "double-unders"),
        ("box jump", "jump"),
        ("walking lunge", "lunge"),
        ("push-up", "push-up"),
        ("pull-up", "pull-up"),
        ("sit-up", "sit-up"),
        ("plank", "trunk"),
        ("run", "run"),
        ("shuttle run", "shuttle run"),
        ("jog", "run"),
        ("walk", "walk"),
        ("hamstring stretch", "stretching"),
        ("mobility", "stretching"),
        ("foam rolling", "stretching"),
        ("deadlift", "deadlift"),
        ("mountain climber", "crawl"),
        ("sled push", "sled"),
        ("thruster", "lift and throw"),
        ("clean and press", "lift and throw"),
        ("power clean", "lift from the floor"),
    ],
)
def test_words_name_the_movement(text: str, name: str) -> None:
    assert movement(text).name == name


def test_a_movement_with_none_of_our_words_is_taken_as_a_circuit_and_least_sure() -> None:
    assert movement("grinding quernstones") is UNKNOWN
    assert row_of(UNKNOWN, None).code == "02040"
    unsure = movements.person_sd(UNKNOWN, known_pace=False)
    assert unsure == max(movements.PERSON_SD.values())


@pytest.mark.parametrize("known", [*MOVEMENTS, UNKNOWN], ids=lambda known: known.name)
def test_every_movement_has_rows_and_says_why(known: Movement) -> None:
    easy, steady, hard = ROWS[known.easy], ROWS[known.steady], ROWS[known.hard]
    assert easy.met <= steady.met <= hard.met
    assert known.why
    assert known.seconds > 0


def test_a_hinge_without_a_load_is_light_and_under_one_is_lifting() -> None:
    hinge = movement("hip hinge")
    assert row_of(hinge, None, loaded=False).met < row_of(hinge, None, loaded=True).met


def test_a_step_up_takes_the_row_of_its_height() -> None:
    step_up = movement("box step-up")
    assert row_of(step_up, None, height_m=0.17).met == 7.3
    assert row_of(step_up, None, height_m=0.28).met == 9.0


def test_as_many_as_possible_in_a_short_time_on_a_machine_is_hard() -> None:
    rower = movement("rower")
    assert row_of(rower, None, sprint=True).met > row_of(rower, None).met
    assert row_of(rower, "easy", sprint=True).met == ROWS["02071"].met


def test_a_run_of_known_pace_takes_acsm_running() -> None:
    # Bushman 2020: 160.8 m/min takes 35.66 ml/kg/min, 10.2 MET.
    met = paced_met(movement("run"), amount_per_min=160.8, height_m=None)
    assert met == pytest.approx(35.66 / 3.5, abs=0.01)


def test_step_ups_of_known_pace_and_height_take_acsm_stepping() -> None:
    met = paced_met(movement("box step-up"), amount_per_min=30, height_m=0.3048)
    assert met == pytest.approx(acsm.stepping(30, 0.3048) / 3.5)


@pytest.mark.parametrize(
    ("name", "pace", "height_m"),
    [
        ("run", 90.0, None),
        ("walk", 130.0, None),
        ("box step-up", 40.0, 0.3),
        ("box step-up", 24.0, 0.6),
        ("box step-up", 24.0, None),
        ("burpee", 12.0, None),
    ],
)
def test_outside_an_equation_s_range_the_row_stands(
    name: str, pace: float, height_m: float | None
) -> None:
    assert paced_met(movement(name), amount_per_min=pace, height_m=height_m) is None


def test_a_known_pace_is_surer_than_a_row_and_lifting_less_sure() -> None:
    run, press = movement("run"), movement("press")
    known = movements.person_sd(run, known_pace=True)
    assert known < movements.person_sd(run, known_pace=False)
    assert movements.person_sd(run, known_pace=False) < movements.person_sd(press, known_pace=False)
