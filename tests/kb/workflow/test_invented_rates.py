from collections import Counter
from datetime import date
from random import Random

import pytest

from kb.case.iso_week import IsoWeek
from kb.case.terms import load_vocabulary
from kb.store.migrate import bundled
from kb.workflow.invented_plan import read_plan
from kb.workflow.invented_rates import USUAL, Rates, poisson

WORDS = load_vocabulary()
PLAN = read_plan(bundled("seed_cases"), WORDS)
SUMMER, WINTER, HOLIDAY = (IsoWeek.parse(text) for text in ("2026-W29", "2026-W03", "2026-W52"))


@pytest.fixture(scope="module")
def rates():
    return Rates(PLAN, WORDS)


@pytest.mark.source("Poisson distribution", "mean and variance are equal")
@pytest.mark.parametrize("mean", [0.4, 1.6, 45.0])
def test_draws_have_the_mean_and_the_variance_of_a_poisson(mean):
    rng = Random(5)
    drawn = [poisson(rng, mean) for _ in range(4_000)]
    average = sum(drawn) / len(drawn)
    variance = sum((row - average) ** 2 for row in drawn) / len(drawn)
    assert average == pytest.approx(mean, rel=0.05)
    assert variance == pytest.approx(mean, rel=0.1)


def test_the_shares_of_all_causes_are_one_and_the_named_ones_as_asked(rates):
    assert sum(rates.shares.values()) == pytest.approx(1)
    assert rates.shares["coil_bad"] * USUAL == pytest.approx(
        PLAN.tables["causes"]["weekly"]["coil_bad"]
    )
    assert not set(PLAN.tables["causes"]["never"]) & set(rates.shares)


def test_the_season_of_a_cause_goes_before_that_of_its_system(rates):
    assert rates.season("low_charge_leak_hose", SUMMER) > 1.7
    assert rates.season("low_charge_leak_hose", WINTER) < 0.3
    assert rates.season("heater_core_blocked", SUMMER) < 0.4
    assert rates.season("wheel_bearing", SUMMER) == 1


def test_a_week_with_holidays_has_a_part_of_the_jobs(rates):
    assert rates.open_days(SUMMER) == 1
    assert rates.open_days(HOLIDAY) == 0.25
    assert rates.open_days(IsoWeek.of(date(2026, 12, 30))) == 1


def test_a_vehicle_comes_only_with_what_it_can_have(rates):
    rng = Random(1)
    engines = Counter(rates.platform(rng, "glow_plug_dead").engine[-1] for _ in range(50))
    assert set(engines) == {"D"}
    assert rates.suits("hv_cell_weak", "A25H")
    assert not rates.suits("hv_cell_weak", "A16P")
    assert not rates.suits("vacuum_leak_gasket", "Y40E")
    assert not rates.suits("coil_bad", "G54D")
