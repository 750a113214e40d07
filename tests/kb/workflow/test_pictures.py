from dataclasses import replace

import pytest

from kb.case.model import Change, Finding, Phase, ReadingSet, Response, Vehicle
from kb.case.terms import load_vocabulary
from kb.case.units import convert
from kb.workflow.pictures import cycles_of, lacks_refrigerant, moves_of
from tests.factories import a_job, a_reading

WORDS = load_vocabulary()
MOVED = Response(
    quantity="vent_temp", position="centre", before_typed="68", after_typed="47", unit="degF",
    before=20.0, after=convert(47, "degF", "degC"),
)  # fmt: skip
BOTH = ReadingSet(
    readings=(a_reading("low_side_pressure", "32", "psi"), a_reading("high_side_pressure", "225", "psi"))
)  # fmt: skip


def finding(*responses):
    return Finding(check="condenser_air_boost", outcome="no_change", responses=responses)


def test_two_numbers_of_a_response_are_a_move_in_the_typed_unit():
    (move,) = moves_of(finding(MOVED), WORDS)
    assert move.name == f"{WORDS.quantities['vent_temp'].name} (centre)"
    assert (move.unit, move.before_said, move.after_said) == ("degF", "68", "47")
    assert (move.before, move.after) == pytest.approx((68, 47))
    band = WORDS.quantities["vent_temp"].typical or ()
    assert move.band == pytest.approx([convert(end, "degC", "degF") for end in band])


@pytest.mark.parametrize(
    "response",
    [
        replace(MOVED, after=None),
        replace(MOVED, before=None),
        Response(change=Change.BETTER, action="fog the condenser"),
    ],
)
def test_a_response_without_two_numbers_is_no_move(response):
    assert moves_of(finding(response), WORDS) == ()


def test_a_quantity_of_the_shops_own_moves_in_its_own_unit():
    own = Response(quantity="own_thing", unit="turns", before=4.0, after=2.5)
    (move,) = moves_of(finding(own), WORDS)
    assert (move.name, move.unit, move.before_said, move.after_said, move.band) == (
        "own thing", "turns", "4", "2.5", None,
    )  # fmt: skip


def test_the_first_set_of_each_phase_gives_the_cycle():
    warm = replace(BOTH, readings=(*BOTH.readings, a_reading("ambient_temp", "90", "degF")))
    sets = (BOTH, BOTH, replace(warm, phase=Phase.AFTER))
    made = a_job(reading_sets=sets, vehicle=Vehicle(refrigerant="R-1234yf"))
    found = cycles_of(made)
    assert [row.phase for row in found] == [Phase.BEFORE, Phase.AFTER]
    assert {(row.pressure_unit, row.temperature_unit) for row in found} == {("psi", "degF")}
    assert found[0].cycle.refrigerant == "R-1234yf"


def test_the_altitude_of_the_shop_counts():
    made = a_job(reading_sets=(BOTH,), vehicle=Vehicle(refrigerant="R-134a"))
    low, high = cycles_of(made)[0], cycles_of(made, altitude_m=1600.0)[0]
    assert low.cycle.low.kpa - high.cycle.low.kpa == pytest.approx(17.8, abs=0.2)


def test_only_a_job_with_both_pressures_lacks_its_refrigerant():
    assert lacks_refrigerant(a_job(reading_sets=(BOTH,)))
    assert not lacks_refrigerant(a_job(reading_sets=(BOTH,), vehicle=Vehicle(refrigerant="R134a")))
    assert not lacks_refrigerant(a_job())
