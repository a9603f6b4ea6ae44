"""What each step cost: the right evidence, the right window, ranges that carry what is common."""

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reconcile.classes import Athlete
from reconcile.energy import work
from reconcile.energy.evidence import EnergyAnswer, HeartRate, LoggedStep, Machine, StepEvidence
from reconcile.energy.heart import EARLIER_DAY_SD
from reconcile.energy.own_line import joined, line_from_document
from reconcile.energy.steps import step_energies
from reconcile.plan import Quantity, Task
from reconcile.result import Energy
from tests.energy.made import ATHLETE, MOST, ON, heart_of, rounds

BURPEES = Task("burpee", most=True, measure="reps")
PRESS = Task("shoulder press", most=True, measure="reps")
PULL = ((2.0, 118.0, 170.0),)


def energy(answer: EnergyAnswer, number: int = 0) -> Energy:
    found = answer.steps[number]
    assert found is not None
    return found


def relative_width(found: Energy) -> float:
    return math.log(found.high / found.low)


def codes(answer: EnergyAnswer) -> set[str]:
    return {problem.code for problem in answer.problems}


class TestTheRightEvidence:
    def test_recorded_pulls_cost_their_work_over_efficiency_and_resting_metabolism(self) -> None:
        steps = rounds(1, 120, 60, pulls=((0.0, 120.0, 170.0),), machine="rower", recorded=True)
        found = energy(step_energies(ATHLETE, steps, None, on=ON))
        # 170 W / 0.198 = 858.6 W = 12.31 kcal/min; 64 kg at rest 1.07; two minutes.
        assert found.kcal == pytest.approx(2 * (12.313 + 64 / 60), rel=1e-3)
        assert found.method == "machine"
        assert found.low < found.kcal < found.high

    def test_a_rest_costs_2_3_met_and_no_more_although_the_heart_still_beats_fast(self) -> None:
        steps = rounds(4, 120, 60, (BURPEES,))
        heart = heart_of(steps, 176.0, 120.0)
        for number in (1, 3, 5, 7):
            found = energy(step_energies(ATHLETE, steps, heart, on=ON), number)
            assert found.kcal == pytest.approx(2.3 * 64 / 60)
            assert found.method == "activity-table"

    def test_strokes_past_the_bell_are_paid_for_by_the_step_in_which_they_began(self) -> None:
        steps = rounds(2, 120, 60, machine="rower", recorded=True)
        steps[0] = replace(steps[0], pulls=((2.0, 120.0, 170.0),))
        within = step_energies(ATHLETE, steps, None, on=ON)
        steps[0] = replace(steps[0], pulls=((2.0, 123.0, 170.0),))
        over = step_energies(ATHLETE, steps, None, on=ON)
        above_standing = float(work.energy(170.0, 0.198, 64.0)) - 2.3 * 64 / 60
        more = energy(over).kcal - energy(within).kcal
        assert more == pytest.approx(3 / 60 * above_standing, rel=1e-6)
        assert energy(over, 1) == energy(within, 1)

    def test_pulling_in_a_rest_is_added_to_it(self) -> None:
        steps = rounds(1, 120, 60, pulls=PULL, machine="rower", recorded=True)
        steps[1] = replace(steps[1], pulls=((10.0, 50.0, 60.0),))
        found = energy(step_energies(ATHLETE, steps, None, on=ON), 1)
        pulled = float(work.energy(60.0, 0.198, 64.0)) * 40 / 60
        assert found.kcal == pytest.approx(pulled + 2.3 * 64 / 3600 * 20)
        assert found.method == "machine+activity-table"

    def test_without_a_machine_heart_rate_and_the_table_are_joined(self) -> None:
        steps = rounds(3, 120, 60, (BURPEES,))
        answer = step_energies(ATHLETE, steps, heart_of(steps, 160.0, 100.0), on=ON)
        assert energy(answer).method == "heart-rate+activity-table"
        models = {row.model: row for row in answer.rows if row.round == 1 and row.step == 1}
        kcal = [models[name].kcal for name in ("keytel with VO2max", "heart-rate reserve", "table")]
        assert min(kcal) <= energy(answer).kcal <= max(kcal)

    def test_vo2max_decides_which_form_of_keytel_is_used_and_never_both(self) -> None:
        steps = rounds(3, 120, 60, (BURPEES,))
        heart = heart_of(steps, 160.0, 100.0)
        for athlete, form, other in (
            (ATHLETE, "keytel with VO2max", "keytel"),
            (replace(ATHLETE, vo2max=None), "keytel", "keytel with VO2max"),
        ):
            models = {row.model for row in step_energies(athlete, steps, heart, on=ON).rows}
            assert form in models
            assert other not in models

    def test_nothing_to_go_by_is_none_and_never_0(self) -> None:
        steps = rounds(2, 120, 60, (), attempted=None)
        answer = step_energies(ATHLETE, steps, None, on=ON)
        assert answer.steps[0] is None
        assert answer.steps[2] is None
        assert answer.oxygen_timed[0] is None

    def test_a_skipped_round_costs_standing_about(self) -> None:
        steps = rounds(1, 120, 60, (BURPEES,), attempted=False)
        found = energy(step_energies(ATHLETE, steps, None, on=ON))
        assert found.kcal == pytest.approx(2 * 2.3 * 64 / 60)

    def test_a_logged_count_stands_in_for_a_machine_that_nothing_recorded(self) -> None:
        # 20 displayed calories in a minute are 261.5 W: 19 kcal/min on a rower, and resting.
        plain = rounds(1, 60, 60, machine="rower")
        told = rounds(1, 60, 60, machine="rower", logged=LoggedStep("calories", 20))
        without = energy(step_energies(ATHLETE, plain, None, on=ON))
        with_count = energy(step_energies(ATHLETE, told, None, on=ON))
        expected = float(work.energy(261.5, 0.198, 64.0))
        assert abs(with_count.kcal - expected) < abs(without.kcal - expected)
        assert relative_width(with_count) < relative_width(without)

    @pytest.mark.parametrize(
        ("task", "logged"),
        [
            (Task("rower", "metres", most=True), LoggedStep("metres", 430.0)),
            (Task("rower", "metres", 430.0), LoggedStep("seconds", 99.0)),
        ],
        ids=["a distance", "the time of a fixed distance"],
    )
    def test_a_logged_distance_or_time_tells_the_power(
        self, task: Task, logged: LoggedStep
    ) -> None:
        # 430 m in the 96 s from 3 s after the bell: 2.80 · (430 / 96)³ = 252 W.
        steps = rounds(1, 99, 60, (task,), machine="rower")
        found = energy(step_energies(ATHLETE, [replace(steps[0], logged=logged)], None, on=ON))
        plain = energy(step_energies(ATHLETE, steps, None, on=ON))
        expected = float(work.energy(252.0, 0.198, 64.0)) * 96 / 60
        assert abs(found.kcal - expected) < abs(plain.kcal - expected)
        assert relative_width(found) < relative_width(plain)

    def test_the_table_asks_no_more_of_a_body_than_its_vo2max(self) -> None:
        runs = rounds(1, 240, 60, (Task("shuttle run"),))
        unfit = energy(step_energies(replace(ATHLETE, vo2max=28.0), runs, None, on=ON))
        fitter = energy(step_energies(replace(ATHLETE, vo2max=35.0), runs, None, on=ON))
        fit = energy(step_energies(replace(ATHLETE, vo2max=50.0), runs, None, on=ON))
        fittest = energy(step_energies(replace(ATHLETE, vo2max=60.0), runs, None, on=ON))
        assert unfit.kcal < fitter.kcal < fit.kcal == fittest.kcal
        assert unfit.kcal == pytest.approx(fitter.kcal * 28 / 35, rel=0.01)

    def test_a_logged_count_that_no_body_could_do_is_left_out(self) -> None:
        plain = rounds(1, 60, 60, machine="rower")
        absurd = rounds(1, 60, 60, machine="rower", logged=LoggedStep("calories", 400))
        assert energy(step_energies(ATHLETE, absurd, None, on=ON)) == energy(
            step_energies(ATHLETE, plain, None, on=ON)
        )

    def test_a_pull_without_power_falls_back_on_the_table(self) -> None:
        steps = rounds(1, 120, 60, pulls=((0.0, 120.0, math.nan),), machine="bike", recorded=True)
        found = energy(step_energies(ATHLETE, steps, None, on=ON))
        assert found.method == "activity-table"
        assert found.kcal > 10

    def test_a_logged_load_counts_where_the_pace_is_known(self) -> None:
        planned = Quantity(Fraction(10), Fraction(10), "kg")
        steps_up = Task("box step-up", measure="reps", amount=20, load=planned,
                        height=Quantity(Fraction(30), Fraction(30), "cm"))  # fmt: skip
        steps = rounds(1, 60, 30, (steps_up,))
        heavier = [replace(step, load_kg=25.0) for step in steps]
        plain = energy(step_energies(ATHLETE, steps, None, on=ON))
        loaded = energy(step_energies(ATHLETE, heavier, None, on=ON))
        assert 1.05 < loaded.kcal / plain.kcal < 1.25


class TestTheRightWindow:
    def test_short_work_is_told_by_the_table_more_than_by_the_heart(self) -> None:
        def weight_of_heart(work_s: float) -> float:
            steps = rounds(6, work_s, work_s, (BURPEES,))
            heart = heart_of(steps, 165.0, 100.0)
            rows = step_energies(ATHLETE, steps, heart, on=ON).rows
            wanted = ("keytel with VO2max", "heart-rate reserve")
            return sum(row.weight for row in rows if row.round == 3 and row.model in wanted)

        assert weight_of_heart(20.0) < 0.5 < weight_of_heart(240.0)

    def test_the_lag_does_not_make_early_rounds_cheaper(self) -> None:
        steps = rounds(4, 90, 60, (BURPEES,))
        answer = step_energies(ATHLETE, steps, heart_of(steps, 165.0, 95.0), on=ON)
        kcal = [energy(answer, number).kcal for number in (0, 2, 4, 6)]
        assert max(kcal) / min(kcal) < 1.08

    def test_strength_work_is_not_raised_above_the_table_plus_its_spread(self) -> None:
        steps = rounds(3, 120, 60, (PRESS,))
        answer = step_energies(ATHLETE, steps, heart_of(steps, 184.0, 100.0), on=ON)
        table = next(row for row in answer.rows if row.model == "table")
        assert energy(answer).kcal <= table.kcal * math.exp(table.sd) + 2
        heart_rows = [row for row in answer.rows if row.model == "heart-rate reserve"]
        assert all("strength" in row.note for row in heart_rows)

    def test_under_a_load_heart_rate_counts_for_less(self) -> None:
        load = Quantity(Fraction(30), Fraction(20), "kg")
        steps = rounds(3, 180, 60, (BURPEES,))
        loaded = rounds(3, 180, 60, (replace(BURPEES, load=load),))
        heart = heart_of(steps, 150.0, 100.0)

        def keytel(some: list[StepEvidence]) -> float:
            rows = step_energies(ATHLETE, some, heart, on=ON).rows
            return next(row.kcal for row in rows if row.model == "keytel with VO2max")

        assert keytel(loaded) < 0.97 * keytel(steps)

    def test_a_mask_reads_on_into_the_rest_and_is_told_apart(self) -> None:
        steps = rounds(3, 180, 120, (BURPEES,))
        answer = step_energies(ATHLETE, steps, heart_of(steps, 165.0, 100.0), on=ON)
        masked = [found for found in answer.oxygen_timed if found is not None]
        assert len(masked) == 6
        assert masked[1].kcal > 1.4 * energy(answer, 1).kcal
        assert masked[0].kcal < energy(answer, 0).kcal


class TestOwnCalibration:
    """An athlete whose heart beats slower at the same work than the population's."""

    athlete = replace(ATHLETE, vo2max=None, max_hr=None, resting_hr=None)

    def steps(self) -> list[StepEvidence]:
        pulled = rounds(5, 120, 60, pulls=PULL, machine="rower", recorded=True)
        tasks = rounds(5, 120, 60, (BURPEES,), recorded=True, start_s=1320.0)
        relabelled = [
            replace(step, planned=replace(step.planned, block="other"), machine=None)
            for step in tasks
        ]
        return [*pulled, *relabelled]

    def heart(self) -> HeartRate:
        steps = self.steps()
        return heart_of(steps, 132.0, 95.0)

    def test_the_machine_teaches_the_athlete_s_own_line(self) -> None:
        steps = self.steps()
        answer = step_energies(self.athlete, steps, self.heart(), on=ON)
        alone = step_energies(self.athlete, steps[10:], self.heart(), on=ON)
        # The machine says 13.4 kcal/min at this heart rate; the population's line says 8.
        taught, untaught = energy(answer, 12), energy(alone, 2)
        assert "own-calibration" in taught.method
        assert "own-calibration" not in untaught.method
        assert taught.kcal > 1.15 * untaught.kcal
        assert relative_width(taught) < relative_width(untaught)

    def test_it_is_kept_for_later_classes_and_used_there(self) -> None:
        steps = self.steps()
        answer = step_energies(self.athlete, steps, self.heart(), on=ON)
        assert answer.own_line["machine"] == "rower"
        assert answer.own_line["on"] == "2026-03-09"
        kept = joined([line_from_document(answer.own_line)], EARLIER_DAY_SD)
        later = step_energies(self.athlete, steps[10:], self.heart(), on=ON, earlier=kept)
        never = step_energies(self.athlete, steps[10:], self.heart(), on=ON)
        assert "own-calibration" in energy(later, 2).method
        assert energy(later, 2).kcal > energy(never, 2).kcal
        assert relative_width(energy(later, 2)) <= relative_width(energy(never, 2))

    def test_what_is_paid_for_without_oxygen_is_not_taught(self) -> None:
        steps = rounds(5, 60, 60, machine="rower", recorded=True)
        hard = float(work.power(1.0 * 44.0 * 64 / 1000 * 4.9, 0.198, 64.0))
        lines = []
        for power_w in (hard, 1.5 * hard):
            pulled = [
                replace(step, pulls=((2.0, 58.0, power_w),))
                if step.planned.kind == "work"
                else step
                for step in steps
            ]
            answer = step_energies(ATHLETE, pulled, heart_of(steps, 184.0, 110.0), on=ON)
            lines.append(line_from_document(answer.own_line))
        (at_most, _), (beyond, _) = (line.at(184.0) for line in lines)
        assert float(beyond[0]) <= float(at_most[0]) * 1.001

    def test_one_pull_teaches_nothing(self) -> None:
        steps = rounds(1, 120, 60, pulls=PULL, machine="rower", recorded=True)
        answer = step_energies(self.athlete, steps, heart_of(steps, 150.0, 95.0), on=ON)
        assert answer.own_line == {}


class TestDoubt:
    def test_what_the_roster_does_not_say_widens_and_is_said(self) -> None:
        steps = rounds(3, 120, 60, (BURPEES,))
        heart = heart_of(steps, 160.0, 100.0)
        known = step_energies(ATHLETE, steps, heart, on=ON)
        unknown = step_energies(Athlete("a02"), steps, heart, on=ON)
        assert "energy_assumptions" in codes(unknown)
        assert "energy_assumptions" not in codes(known)
        assert relative_width(energy(unknown)) > 1.2 * relative_width(energy(known))

    def test_distrusted_heart_rate_is_not_used_and_half_trusted_counts_less(self) -> None:
        steps = rounds(3, 120, 60, (BURPEES,))
        heart = heart_of(steps, 160.0, 100.0)

        def weight(trust: float) -> float:
            doubted = replace(heart, trust=np.full(len(heart.trust), trust))
            rows = step_energies(ATHLETE, steps, doubted, on=ON).rows
            wanted = ("keytel with VO2max", "heart-rate reserve")
            return sum(row.weight for row in rows if row.round == 2 and row.model in wanted)

        assert weight(1.0) > weight(0.6) > weight(0.2) == 0.0

    def test_a_heart_that_answers_late_is_a_problem_and_counts_less(self) -> None:
        steps = rounds(5, 120, 90, (BURPEES,))
        heart = heart_of(steps, 165.0, 95.0)
        late = replace(heart, bpm=np.concatenate([np.full(18, heart.bpm[0]), heart.bpm[:-18]]))
        answer = step_energies(ATHLETE, steps, late, on=ON)
        assert "heart_rate_late" in codes(answer)
        soon = step_energies(ATHLETE, steps, heart, on=ON)
        assert codes(soon) == set()
        assert energy(answer, 2).kcal == pytest.approx(energy(soon, 2).kcal, rel=0.1)

    def test_sources_that_disagree_widen_and_are_named_with_their_steps(self) -> None:
        steps = rounds(3, 180, 60, pulls=((0.0, 180.0, 320.0),), machine="rower", recorded=True)
        answer = step_energies(ATHLETE, steps, heart_of(steps, 105.0, 90.0), on=ON)
        assert "energy_sources_disagree" in codes(answer)
        message = next(p.message for p in answer.problems if p.code == "energy_sources_disagree")
        assert "main round 1 step 1" in message
        alone = step_energies(ATHLETE, steps, None, on=ON)
        assert relative_width(energy(answer)) > relative_width(energy(alone))


class TestSumsAndRanges:
    def answer(self, count: int, heart: bool = True) -> EnergyAnswer:
        steps = rounds(count, 120, 60, (BURPEES,))
        return step_energies(
            ATHLETE, steps, heart_of(steps, 160.0, 100.0) if heart else None, on=ON
        )

    def test_parts_sum_to_wholes(self) -> None:
        answer = self.answer(4)
        (block,) = answer.blocks
        assert block.work is not None
        assert block.rest is not None
        assert block.total.kcal == pytest.approx(sum(energy(answer, n).kcal for n in range(8)))
        assert block.work.kcal + block.rest.kcal == pytest.approx(block.total.kcal)

    @pytest.mark.parametrize("heart", [True, False])
    def test_a_total_s_range_does_not_shrink_with_the_root_of_the_rounds(self, heart: bool) -> None:
        one, twelve = self.answer(1, heart), self.answer(12, heart)
        narrow = relative_width(twelve.blocks[0].total)
        assert narrow > 0.75 * relative_width(one.blocks[0].total)
        assert narrow <= relative_width(energy(twelve, 2)) + 1e-9

    def test_weights_sum_to_one_and_the_joined_row_is_the_step_s_energy(self) -> None:
        answer = self.answer(3)
        rows = [row for row in answer.rows if row.round == 2 and row.step == 1]
        assert sum(row.weight for row in rows if row.model != "joined") == pytest.approx(1.0)
        assert rows[-1].model == "joined"
        assert rows[-1].kcal == pytest.approx(energy(answer, 2).kcal)

    def test_a_shifted_clock_changes_nothing(self) -> None:
        steps = rounds(3, 120, 60, (BURPEES,))
        heart = heart_of(steps, 160.0, 100.0)
        moved = [replace(step, block_start_s=step.block_start_s + 4321.0) for step in steps]
        here = step_energies(ATHLETE, steps, heart, on=ON)
        there = step_energies(ATHLETE, moved, replace(heart, time_s=heart.time_s + 4321.0), on=ON)
        for one, other in zip(here.steps, there.steps, strict=True):
            assert one is not None
            assert other is not None
            assert other.kcal == pytest.approx(one.kcal)
            assert other.high == pytest.approx(one.high)

    @settings(max_examples=60)
    @given(
        st.floats(80, 195),
        st.integers(1, 4),
        st.floats(15, 300),
        st.sampled_from([(BURPEES,), (PRESS,), (Task("quern grinding"),), (Task("rower"),)]),
        st.booleans(),
    )
    def test_more_evidence_never_widens_a_range_without_a_stated_problem(
        self, bpm: float, count: int, work_s: float, tasks: tuple[Task, ...], roster: bool
    ) -> None:
        athlete = ATHLETE if roster else Athlete("a02", "m", None, 80.0)
        steps = [
            replace(step, effort_start_s=0.0) if step.planned.kind == "work" else step
            for step in rounds(count, work_s, 45, tasks)
        ]
        without = step_energies(athlete, steps, None, on=ON)
        with_heart = step_energies(athlete, steps, heart_of(steps, bpm, 75.0), on=ON)
        if "energy_sources_disagree" in codes(with_heart):
            return
        for one, other in zip(without.steps, with_heart.steps, strict=True):
            assert one is not None
            assert other is not None
            assert relative_width(other) <= relative_width(one) + 1e-6

    @settings(max_examples=40)
    @given(
        st.floats(40, 350),
        st.floats(20, 300),
        st.sampled_from(["rower", "ski", "bike"]),
        st.booleans(),
    )
    def test_a_recording_of_machine_work_never_widens_a_range(
        self, power_w: float, work_s: float, machine: Machine, heart: bool
    ) -> None:
        plain = rounds(3, work_s, 60, (MOST,), machine=machine)
        pulls = ((2.0, work_s - 1, power_w),)
        pulled = [
            replace(step, machine_recorded=True, pulls=pulls if number % 2 == 0 else ())
            for number, step in enumerate(plain)
        ]
        beats = heart_of(plain, 160.0, 100.0) if heart else None
        without = step_energies(ATHLETE, plain, beats, on=ON)
        recorded = step_energies(ATHLETE, pulled, beats, on=ON)
        if "energy_sources_disagree" in codes(recorded):
            return
        for number in (0, 2, 4):
            one, other = energy(without, number), energy(recorded, number)
            assert relative_width(other) <= relative_width(one) + 1e-6

    @settings(max_examples=60)
    @given(
        st.floats(40, 220) | st.just(math.nan),
        st.sampled_from(["m", "f", None]),
        st.none() | st.integers(1930, 2015),
        st.none() | st.floats(35, 180),
        st.none() | st.floats(35, 95),
        st.none() | st.floats(120, 215),
        st.none() | st.floats(12, 85),
        st.floats(0, 900) | st.just(math.nan),
    )
    def test_whatever_the_evidence_energy_is_positive_finite_and_inside_its_range(
        self,
        bpm: float,
        sex: str | None,
        born: int | None,
        mass_kg: float | None,
        resting: float | None,
        highest: float | None,
        vo2max: float | None,
        power_w: float,
    ) -> None:
        athlete = Athlete("a03", sex, born, mass_kg, resting, highest, vo2max)  # type: ignore[arg-type]
        steps = rounds(3, 90, 45, pulls=((1.0, 80.0, power_w),), machine="ski", recorded=True)
        steps += rounds(2, 90, 45, (PRESS, BURPEES), attempted=None, start_s=700.0)
        heart = heart_of(steps, 150.0, 90.0)
        heart = replace(heart, bpm=np.full(len(heart.bpm), bpm))
        answer = step_energies(athlete, steps, heart, on=ON)
        for found in (*answer.steps, *answer.oxygen_timed):
            assert found is not None
            assert 0 < found.low < found.kcal < found.high < math.inf
