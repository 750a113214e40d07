import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.case.model import Finding, ReadingSet, Response
from kb.case.terms import load_vocabulary
from kb.case.units import convert
from kb.retrieval.measures import Measure, beside, case_measures, plain_number, rarity, spread
from tests.factories import a_job, a_reading

WORDS = load_vocabulary()


def high_side(psi, **changes):
    return Measure(
        key="high", value=kpa(psi), what="high side", canonical="kPa", unit="psi", **changes
    )


def kpa(psi):
    return convert(psi, "psi", "kPa")


def made(*readings, **changes):
    sets = (ReadingSet(readings=readings),)
    return {row.key: row for row in case_measures(a_job(reading_sets=sets, **changes), WORDS)}


def air_over_the_condenser(before, after, **changes):
    row = Response(
        quantity="high_side_pressure",
        before_typed=str(before),
        after_typed=str(after),
        unit="psi",
        before=kpa(before),
        after=kpa(after),
    )
    finding = Finding(check="condenser_air_boost", outcome="pressure_falls_vent_cools")
    done = Finding(check=finding.check, outcome=finding.outcome, responses=(row,))
    (found,) = case_measures(a_job(findings=(done,), **changes), WORDS)
    return found


def test_a_response_says_what_moved_by_how_much_and_with_which_action():
    row = air_over_the_condenser(318, 214)
    assert row.what == "High-side pressure fell 104 psi (add air over the condenser)"
    assert row.value == pytest.approx(kpa(-104))
    assert air_over_the_condenser(214, 220).what.startswith("High-side pressure rose 6 psi")
    assert air_over_the_condenser(214, 214).what.startswith("High-side pressure did not move")


def test_the_other_case_stands_beside_it_in_the_unit_typed_here():
    assert beside(high_side(322), kpa(310)) == "310"
    fell = high_side(-104, moved=True)
    assert beside(fell, kpa(-97)) == "97"
    assert beside(fell, kpa(20)) == "rose 20"
    assert beside(fell, 0.0) == "did not move"
    assert beside(high_side(20, moved=True), kpa(-97)) == "fell 97"


def test_a_number_without_a_known_unit_is_said_as_it_is():
    bare = Measure(key="a", value=3.0, what="a 3")
    assert beside(bare, 4.26) == "4.26"
    assert spread(bare, np.array([2.0, 7.0])) == "2 to 7"


def test_how_far_values_spread_is_said_once_where_they_are_one():
    assert spread(high_side(1), np.array([kpa(45), kpa(52)])) == "45 to 52"
    assert spread(high_side(1), np.array([kpa(45)])) == "45"
    assert spread(high_side(1, moved=True), np.array([kpa(-110), kpa(-97)])) == "fell 97 to 110"
    assert spread(high_side(1, moved=True), np.array([kpa(3), kpa(9)])) == "rose 3 to 9"
    assert spread(high_side(1, moved=True), np.array([kpa(-3), kpa(9)])) == "-3 to 9"


def test_rare_needs_twenty_values_and_one_in_twenty():
    sixty = np.arange(60.0)
    assert rarity(Measure(key="a", value=59.0, what=""), sixty) == "rare: 1 in 60 cases"
    assert rarity(Measure(key="a", value=57.0, what=""), sixty) == "rare: 1 in 20 cases"
    assert rarity(Measure(key="a", value=56.0, what=""), sixty) == "as high in 4 of 60 cases"
    assert rarity(Measure(key="a", value=0.0, what=""), sixty) == "rare: 1 in 60 cases"
    assert rarity(Measure(key="a", value=99.0, what=""), sixty) == "rare: none of 60 cases"
    few = np.arange(19.0)
    assert rarity(Measure(key="a", value=18.0, what=""), few) == "as high in 1 of 19 cases"
    assert rarity(Measure(key="a", value=-1.0, what=""), few) == "as low in 0 of 19 cases"


def test_usual_is_the_band_of_the_trade_and_the_middle_half_only_where_there_is_none():
    sixty = np.arange(60.0)
    assert rarity(Measure(key="a", value=59.0, what="", usual=True), sixty) == "usual"
    assert rarity(Measure(key="a", value=30.0, what="", usual=False), sixty) == (
        "as high in 30 of 60 cases"
    )
    assert rarity(Measure(key="a", value=30.0, what=""), sixty) == "usual"
    assert rarity(Measure(key="a", value=50.0, what=""), sixty) == "as high in 10 of 60 cases"
    assert rarity(Measure(key="a", value=9.0, what=""), np.arange(19.0)) == (
        "as low in 10 of 19 cases"
    )


def test_a_change_is_much_or_little_whichever_way_it_goes():
    falls = np.arange(-110.0, -70.0)
    fell = Measure(key="a", value=-100.0, what="", moved=True)
    assert rarity(fell, falls) == "as much in 11 of 40 cases"
    assert rarity(Measure(key="a", value=-75.0, what="", moved=True), falls) == (
        "as little in 5 of 40 cases"
    )


@given(st.lists(st.integers(-9, 9), min_size=1, max_size=60), st.integers(-12, 12))
def test_the_count_is_that_of_values_as_extreme_on_the_same_side(values, here):
    population = np.sort(np.array(values, float))
    said = rarity(Measure(key="a", value=float(here), what="", usual=False), population)
    upper = here > np.median(population)
    count = sum(v >= here for v in values) if upper else sum(v <= here for v in values)
    if len(values) >= 20 and count * 20 <= len(values):
        assert said.startswith("rare: ")
        assert (f"1 in {round(len(values) / count)}" if count else "none") in said
    else:
        assert said == f"as {'high' if upper else 'low'} in {count} of {len(values)} cases"


def test_a_reading_knows_whether_it_lies_in_the_usual_band():
    band = WORDS.quantities["high_side_pressure"].typical
    assert band is not None
    low, high = band
    shown = [f"{convert(value, 'kPa', 'psi'):.1f}" for value in ((low + high) / 2, high + 400)]
    inside, outside = (made(a_reading("high_side_pressure", typed, "psi")) for typed in shown)
    assert inside["high_side_pressure"].usual is True
    assert outside["high_side_pressure"].usual is False


def test_a_derived_reading_is_said_in_the_units_that_were_typed():
    typed = (a_reading("vent_temp", "69"), a_reading("ambient_temp", "92"))
    metric = (a_reading("vent_temp", "20.56", "degC"), a_reading("ambient_temp", "33.33", "degC"))
    here, there = made(*typed)["= vent_over_ambient"], made(*metric)["= vent_over_ambient"]
    assert here.what == "Vent over ambient difference -23 delta_degF"
    assert there.what == "Vent over ambient difference -12.8 delta_degC"
    assert here.value == pytest.approx(there.value, abs=0.02)
    assert beside(here, there.value) == "-23"


def test_no_figure_of_a_whole_number_is_lost():
    assert [plain_number(x) for x in (1234.4, -99.96, 99.94, 12.0, 0.0)] == [
        "1234", "-100", "99.9", "12", "0",
    ]  # fmt: skip
