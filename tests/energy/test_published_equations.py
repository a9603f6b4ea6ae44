"""Every equation against a published check value; the source stands beside it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reconcile.energy import acsm, compendium, keytel, max_heart_rate, reserve, weir, work

KJ_PER_KCAL = 4.184


class TestKeytel:
    """Keytel et al. 2005, J Sports Sci 23(3):289-297."""

    def test_without_vo2max_a_man_of_30_with_80_kg_at_150_spends_61_49_kj_a_minute(self) -> None:
        # Computed by hand from the published coefficients.
        rate = keytel.without_vo2max(np.array([150.0]), "m", 80.0, 30.0)
        assert rate[0] * KJ_PER_KCAL == pytest.approx(61.49, abs=0.005)
        assert rate[0] == pytest.approx(14.697, abs=0.0005)

    def test_without_vo2max_a_woman_of_30_with_60_kg_at_150_spends_41_32_kj_a_minute(self) -> None:
        rate = keytel.without_vo2max(np.array([150.0]), "f", 60.0, 30.0)
        assert rate[0] * KJ_PER_KCAL == pytest.approx(41.32, abs=0.005)
        assert rate[0] == pytest.approx(9.876, abs=0.0005)

    def test_with_vo2max_the_same_two_spend_14_144_and_9_193_kcal_a_minute(self) -> None:
        men = keytel.with_vo2max(np.array([150.0]), "m", 80.0, 30.0, 50.0)
        women = keytel.with_vo2max(np.array([150.0]), "f", 60.0, 30.0, 42.0)
        assert men[0] == pytest.approx(14.144, abs=0.0005)
        assert women[0] == pytest.approx(9.193, abs=0.0005)

    def test_with_vo2max_agrees_with_a_public_implementation_s_example(self) -> None:
        # A public implementation's doctest: man, 48 years, 63 kg, VO2max 48, 110 a minute gives
        # 7.454238631 kcal/min, at 0.239006 kcal/kJ.
        rate = keytel.with_vo2max(np.array([110.0]), "m", 63.0, 48.0, 48.0)
        assert rate[0] * KJ_PER_KCAL * 0.239006 == pytest.approx(7.454238631, abs=1e-6)

    def test_it_turns_negative_at_low_heart_rates_where_it_is_void(self) -> None:
        men = keytel.without_vo2max(np.array([52.4, 52.6]), "m", 80.0, 30.0)
        women = keytel.without_vo2max(np.array([57.5, 57.7]), "f", 60.0, 30.0)
        assert men[0] < 0 < men[1]
        assert women[0] < 0 < women[1]

    def test_outside_what_it_was_fitted_on_its_spread_widens(self) -> None:
        inside = keytel.outside_spread(np.array([120.0, 150.0]), 190.0, 80.0, 30.0)
        assert inside == pytest.approx([0.0, 0.0])
        low, high = keytel.outside_spread(np.array([95.0, 185.0]), 190.0, 80.0, 30.0)
        assert low > 0.1
        assert high > 0.02
        assert keytel.outside_spread(np.array([150.0]), 190.0, 130.0, 30.0)[0] > 0.04
        assert keytel.outside_spread(np.array([150.0]), 190.0, 80.0, 60.0)[0] > 0.05


class TestHeartRateReserve:
    """Swain et al. 1998, Med Sci Sports Exerc 30(2):318-321; Swain and Leutholtz 1997 (cycle)."""

    def test_150_with_rest_60_and_highest_190_is_69_23_percent_of_the_reserve(self) -> None:
        share = reserve.heart_rate_share(np.array([150.0]), 60.0, 190.0)
        assert share[0] == pytest.approx(0.6923, abs=0.00005)

    def test_the_cycle_and_the_treadmill_line_at_vo2max_50(self) -> None:
        cycle = reserve.oxygen_uptake(np.array([150.0]), 60.0, 190.0, 50.0)
        treadmill = reserve.oxygen_uptake(np.array([150.0]), 60.0, 190.0, 50.0, "treadmill")
        assert cycle[0] == pytest.approx(35.69, abs=0.005)
        assert treadmill[0] == pytest.approx(34.08, abs=0.005)

    def test_for_75_kg_the_cycle_line_is_13_12_kcal_a_minute_at_4_9_kcal_a_litre(self) -> None:
        rate = reserve.energy(np.array([150.0]), 60.0, 190.0, 50.0, 75.0)
        assert rate[0] == pytest.approx(13.12, abs=0.01)

    def test_the_published_treadmill_line_is_recovered_from_the_uptake(self) -> None:
        # %HRR = 1.5 + 1.03 · %VO2R, read forwards.
        uptake = reserve.oxygen_uptake(np.array([150.0]), 60.0, 190.0, 50.0, "treadmill")
        share_of_oxygen = (uptake[0] - 3.5) / (50.0 - 3.5)
        assert 1.5 + 1.03 * 100 * share_of_oxygen == pytest.approx(69.23, abs=0.005)

    @given(st.floats(80, 185), st.floats(45, 75), st.floats(170, 205), st.floats(30, 60))
    def test_its_sensitivities_are_its_derivatives(
        self, bpm: float, resting: float, highest: float, vo2max: float
    ) -> None:
        def log_energy(rest: float, top: float, uptake: float) -> float:
            value = reserve.energy(np.array([bpm]), rest, top, uptake, 70.0)
            return float(np.log(value[0]))

        by_max, by_resting, by_vo2max = reserve.sensitivity(
            np.array([bpm]), resting, highest, vo2max
        )
        step = 1e-4
        here = log_energy(resting, highest, vo2max)
        assert by_max[0] == pytest.approx(
            (log_energy(resting, highest + step, vo2max) - here) / step, rel=1e-2, abs=1e-5
        )
        assert by_resting[0] == pytest.approx(
            (log_energy(resting + step, highest, vo2max) - here) / step, rel=1e-2, abs=1e-5
        )
        assert by_vo2max[0] == pytest.approx(
            (log_energy(resting, highest, vo2max * (1 + step)) - here) / step, rel=1e-2, abs=1e-5
        )


class TestHighestHeartRate:
    """Tanaka 2001, JACC 37:153; Gellish 2007, MSSE 39:822-829."""

    @pytest.mark.parametrize(
        ("age", "tanaka", "gellish", "curve"),
        [(40, 180.0, 179.0, 180.8), (20, 194.0, 193.0, 189.2), (60, 166.0, 165.0, 166.8)],
    )
    def test_the_three_lines(self, age: float, tanaka: float, gellish: float, curve: float) -> None:
        assert max_heart_rate.tanaka(age) == pytest.approx(tanaka)
        assert max_heart_rate.gellish(age) == pytest.approx(gellish)
        assert max_heart_rate.gellish_curve(age) == pytest.approx(curve)


class TestWeir:
    """Weir 1949, J Physiol 109:1-9 (constants from memory, rounded form read)."""

    def test_two_litres_of_oxygen_and_1_8_of_carbon_dioxide_are_9_873_kcal(self) -> None:
        assert weir.energy(2.0, 1.8) == pytest.approx(9.873, abs=0.0005)

    @pytest.mark.parametrize(("ratio", "kcal"), [(0.70, 4.715), (0.85, 4.881), (1.0, 5.047)])
    def test_a_litre_of_oxygen_by_exchange_ratio(self, ratio: float, kcal: float) -> None:
        assert weir.from_oxygen(1.0, ratio) == pytest.approx(kcal, abs=0.0005)

    @pytest.mark.parametrize(
        ("ratio", "kcal"),
        [(0.71, 4.690), (0.80, 4.801), (0.85, 4.862), (0.90, 4.924), (0.95, 4.985), (1.0, 5.047)],
    )
    def test_it_agrees_with_the_older_table_of_lusk_within_eight_in_a_thousand(
        self, ratio: float, kcal: float
    ) -> None:
        # Zuntz and Schumburg's table as modified by Lusk 1924, J Biol Chem 59:41-42, from a public
        # implementation that holds it.
        assert weir.from_oxygen(1.0, ratio) == pytest.approx(kcal, rel=0.008)


class TestAcsm:
    """Bushman 2020, ACSM's Health & Fitness Journal 24(3) and 24(4), handbook examples."""

    def test_walking_93_8_m_a_minute_up_ten_percent_takes_29_76(self) -> None:
        assert acsm.walking(93.8, 0.10) == pytest.approx(29.76, abs=0.005)

    def test_running_160_8_m_a_minute_on_the_level_takes_35_66(self) -> None:
        assert acsm.running(160.8) == pytest.approx(35.66, abs=0.005)

    def test_leg_cycling_of_a_62_kg_woman_at_450_kg_m_a_minute_takes_20(self) -> None:
        # The handbook's form: 7 + 1.8 · 450 / 62 = 20.06; ours takes watts, 450 kg·m/min = 73.5 W.
        assert acsm.leg_cycling(73.5, 62.0) == pytest.approx(19.81, abs=0.01)
        assert acsm.leg_cycling(73.5, 62.0) == pytest.approx(7 + 1.8 * 450 / 62, rel=0.015)

    def test_leg_cycling_of_75_kg_at_150_w_takes_28_6(self) -> None:
        assert acsm.leg_cycling(150.0, 75.0) == pytest.approx(28.6)

    def test_arm_cycling_of_75_kg_at_50_w_takes_15_5(self) -> None:
        # 3.5 + 3 · (kg·m/min) / kg on two public formula sheets; otherwise from memory.
        assert acsm.arm_cycling(50.0, 75.0) == pytest.approx(15.5)
        assert acsm.arm_cycling(50.0, 75.0) == pytest.approx(3.5 + 3 * 50 * 6.12 / 75, rel=0.02)

    def test_stepping_30_a_minute_on_twelve_inches_takes_31_4(self) -> None:
        assert acsm.stepping(30.0, 0.3048) == pytest.approx(31.39, abs=0.01)


class TestCompendium:
    """Herrmann et al. 2024, J Sport Health Sci; Ainsworth et al. 2011, MSSE 43:1575-1581."""

    @pytest.mark.parametrize(
        ("code", "met"),
        [
            ("02071", 5.0), ("02072", 7.5), ("02073", 11.0), ("02074", 14.0), ("02070", 7.3),
            ("02082", 10.5), ("02084", 18.0), ("15552", 8.3), ("15551", 11.8), ("15550", 12.3),
            ("15554", 10.0), ("02040", 7.5), ("02058", 9.8), ("02050", 6.0), ("02052", 5.0),
            ("02054", 3.5), ("02020", 7.5), ("02210", 7.0), ("02214", 11.0), ("02078", 11.0),
            ("02101", 2.3), ("02022", 3.8), ("02024", 2.8), ("12020", 7.0), ("12050", 9.8),
            ("12150", 8.0), ("17190", 3.5),
        ],
    )  # fmt: skip
    def test_the_rows_are_the_table_s(self, code: str, met: float) -> None:
        assert compendium.ROWS[code].met == met

    def test_one_met_is_a_kcal_per_kilogram_and_hour(self) -> None:
        assert compendium.energy(1.0, 70.0) * 60 == pytest.approx(70.0)


class TestMachineWork:
    def test_net_efficiency_of_rowing_and_its_spread_are_the_published_ones(self) -> None:
        # Eur J Appl Physiol 1986 55:471-475: 19.8 ± 1.4 % net.
        rower = work.EFFICIENCY["rower"]
        assert rower.net == 0.198
        assert rower.person_sd == pytest.approx(1.4 / 19.8, abs=0.001)

    def test_200_w_on_a_rower_costs_75_kg_15_7_kcal_a_minute(self) -> None:
        # 200 / 0.198 = 1010 W = 14.49 kcal/min, and 1.25 of resting metabolism.
        assert work.energy(200.0, 0.198, 75.0) == pytest.approx(14.485 + 1.25, abs=0.01)

    def test_rowing_gross_efficiency_comes_out_as_published(self) -> None:
        # The same study: 17.5 % gross, at the power of its tests (some 200 W; 75 kg).
        gross = 200.0 / (work.energy(200.0, 0.198, 75.0) * work.WATTS_PER_KCAL_MIN)
        assert gross == pytest.approx(0.175, abs=0.01)

    def test_leg_cycling_agrees_with_acsm_within_its_error(self) -> None:
        for power_w in (75.0, 100.0, 150.0, 200.0):
            uptake = acsm.leg_cycling(power_w, 75.0) * 75 / 1000
            ours = work.energy(power_w, work.EFFICIENCY["bike"].net, 75.0)
            assert ours == pytest.approx(uptake * 4.9, rel=0.16)

    @given(st.floats(0, 800), st.sampled_from(["rower", "ski", "bike"]), st.floats(45, 120))
    def test_power_is_recovered_from_energy(
        self, power_w: float, machine: str, mass_kg: float
    ) -> None:
        net = work.EFFICIENCY[machine].net
        rate = work.energy(power_w, net, mass_kg)
        assert work.power(rate, net, mass_kg) == pytest.approx(power_w, abs=1e-6)
