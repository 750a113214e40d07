from datetime import timedelta

import pytest

from kb.case.model import Phase, Proof, ReadingSet, Vehicle
from kb.workflow.week.odd import MOST_OTHER, odd
from kb.workflow.week.rows import Level
from tests.factories import a_case, a_closing, a_reading
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]

COPSE = Vehicle(make="Pellarin", model="Copse", engine="P20P")


def read(name, *typed, days=3, unit="degF", phase=Phase.BEFORE, vehicle=COPSE, **closing):
    """Return a case with vent temperatures; proven by sight, closed some days before Sunday."""
    day = WEEK.sunday - timedelta(days=days)
    values = tuple(a_reading(typed=text, unit=unit) for text in typed)
    return a_case(
        name,
        opened=day,
        vehicle=vehicle,
        closing=a_closing(closed=day, **closing),
        reading_sets=(ReadingSet(phase=phase, readings=values),),
    )


def usual(days, count=12, **known):
    """Return cases around 68 degF, closed some days before Sunday."""
    return [read(f"U{days}-{at}", str(66 + at % 5), days=days, **known) for at in range(count)]


@pytest.mark.source("arithmetic", "20 degC is 68 degF; 20 degF is -6.7 degC")
def test_a_value_that_another_unit_explains_is_to_look_at(seen_of):
    (row,) = odd(seen_of(read("J1", "20"), *usual(20)))
    assert (row.kind, row.level, row.cases) == ("odd_value", Level.LOOK, ("J1",))
    assert row.subject == ("J1", "vent_temp", "")
    (value,) = row.numbers["values"]
    assert (value["typed"], value["unit"], value["own_platform"]) == ("20", "degF", True)
    (meant,) = value["meant"]
    assert (meant["recorded"], meant["meant"]) == ("degF", "degC")
    assert meant["value"] == pytest.approx(20.0)
    assert value["value"] == pytest.approx(-6.667, abs=0.01)
    assert value["held"]["middle"] == pytest.approx(20.0, abs=0.6)


def test_one_place_read_twice_gives_one_row(seen_of):
    (row,) = odd(seen_of(read("J1", "21", "20", "20"), *usual(20)))
    assert [value["typed"] for value in row.numbers["values"]] == ["20"]


def test_what_no_unit_explains_is_only_good_to_know(seen_of):
    hot = [read(f"J{at}", str(100 + 4 * at)) for at in range(7)]
    (row,) = odd(seen_of(*hot, *usual(20, count=30)))
    assert (row.level, row.subject) == (Level.KNOW, ())
    assert row.cases == ("J6", "J5", "J4", "J3", "J2")
    assert len(row.numbers["values"]) == MOST_OTHER
    assert row.numbers["more"] == 2


@pytest.mark.parametrize(
    ("closing", "told"),
    [
        ({"proofs": (Proof(method="measured_out", text="vent far off"),)}, False),
        ({"proofs": (Proof(method="seen", text="vent at 110 degF"),)}, False),
        ({"proofs": (Proof(method="seen", text="door hangs at 1100"),)}, True),
        ({"proofs": (Proof(method="inferred", text="vent at 110 degF"),)}, True),
        ({"cause": None, "proofs": ()}, True),
    ],
)
def test_a_reading_that_is_the_proof_is_not_odd(seen_of, closing, told):
    assert len(list(odd(seen_of(read("J1", "110", **closing), *usual(20))))) == told


def test_a_wrong_unit_is_told_though_it_is_the_proof(seen_of):
    proof = (Proof(method="measured_out", text="20 degF"),)
    (row,) = odd(seen_of(read("J1", "20", proofs=proof), *usual(20)))
    assert row.level is Level.LOOK


def test_only_readings_of_the_week_are_looked_at(seen_of):
    assert list(odd(seen_of(read("J1", "20", days=7), *usual(20)))) == []
    assert list(odd(seen_of(*usual(3)))) == []


def test_readings_of_the_year_before_say_what_is_usual_too(seen_of):
    (row,) = odd(seen_of(read("J1", "20"), *usual(100)))
    assert row.numbers["values"][0]["held"]["count"] == 13
    assert list(odd(seen_of(week=WEEK.shifted(60)))) == []


def test_few_readings_tell_nothing(seen_of):
    assert list(odd(seen_of(read("J1", "20"), *usual(20, count=6)))) == []


def test_readings_older_than_the_year_before_do_not_count(seen_of):
    assert list(odd(seen_of(read("J1", "20"), *usual(440)))) == []


@pytest.mark.parametrize(
    ("own", "others", "told"),
    [
        (Phase.BEFORE, Phase.AFTER, 0),
        (Phase.AFTER, Phase.AFTER, 0),
        (Phase.DURING, Phase.BEFORE, 0),
        (Phase.DURING, Phase.DURING, 1),
    ],
)
def test_readings_are_held_against_those_of_their_own_phase(seen_of, own, others, told):
    seen = seen_of(read("J1", "20", phase=own), *usual(20, phase=others), *usual(100, phase=others))
    assert len(list(odd(seen))) == told


def test_a_car_that_is_not_known_is_held_against_its_system(seen_of):
    (row,) = odd(seen_of(read("J1", "20", vehicle=Vehicle(make="Pellarin")), *usual(20)))
    assert row.numbers["values"][0]["own_platform"] is False


def test_words_and_bounds_are_no_values(seen_of):
    job = read("J1", "over 200", "open", unit="degF")
    assert {row.word for group in job.reading_sets for row in group.readings} == {"over", "open"}
    assert list(odd(seen_of(job, *usual(20)))) == []
