from datetime import timedelta

import pytest

from kb.case.casefile import read_folder
from kb.case.model import Complaint, Phase, Proof, ReadingSet, Vehicle
from kb.case.shop_rows import ShopTerm
from kb.case.shop_words import with_shop_terms
from kb.store.migrate import bundled
from kb.workflow.week import likeness as topic
from kb.workflow.week.likeness import compared, likeness
from kb.workflow.week.rows import Level
from kb.workflow.week.seen import Seen
from tests.factories import a_case, a_closing, a_job, a_reading
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]

SAID = "clatter behind the dash when the blower starts, stops after two minutes, worse in the wet"
CAR = {"year": 2014, "make": "Dunmarrow", "model": "Packhorse", "odometer": 98_000.0}


def seeds():
    """Return a few of the demonstration's cases as closed two weeks ago."""
    day = WEEK.sunday - timedelta(days=14)
    return [
        a_case(
            job.id,
            cause=job.cause,
            opened=day - timedelta(days=at),
            vehicle=job.vehicle,
            complaint=job.complaint,
            lines=(),
            symptoms=(),
            closing=a_closing(job.cause, closed=day),
        )
        for at, job in enumerate(read_folder(bundled("seed_cases"))[0][:30])
    ]


def written(name, days=3, *, vehicle=CAR, said=SAID, **known):
    day = WEEK.sunday - timedelta(days=days)
    return a_job(
        name,
        opened=day,
        vehicle=Vehicle(**vehicle),
        complaint=Complaint(said=said),
        lines=(said,),
        symptoms=(),
        **known,
    )


def rows_of(seen, kind):
    return [row for row in likeness(seen) if row.kind == kind]


# --- written twice --------------------------------------------------------------------------------


def test_one_visit_written_twice_is_told_with_why(seen_of):
    vin = CAR | {"vin": "1HGCM82633A004352"}
    jobs = written("J1", 3, vehicle=vin), written("J2", 2, vehicle=vin)
    (row,) = rows_of(seen_of(*jobs, *seeds()), "twin")
    assert (row.level, row.subject, row.cases) == (Level.LOOK, ("J1", "J2"), ("J1", "J2"))
    assert (row.numbers["same_vehicle"], row.numbers["days_apart"]) == (True, 1)
    assert row.numbers["share"] > 0.9
    assert "clatter" in row.numbers["reasons"][0]


def test_cars_that_cannot_be_told_apart_are_only_good_to_know(seen_of):
    near = CAR | {"odometer": 98_150.0, "make": None}
    (row,) = rows_of(seen_of(written("J1"), written("J2", vehicle=near), *seeds()), "twin")
    assert (row.level, row.numbers["same_vehicle"]) == (Level.KNOW, False)


@pytest.mark.parametrize(
    "other",
    [
        {"year": 2015},
        {"make": "Pellarin"},
        {"model": "Copse"},
        {"odometer": 98_300.0},
    ],
)
def test_what_is_written_of_two_cars_can_say_that_they_are_not_one(seen_of, other):
    jobs = written("J1"), written("J2", vehicle=CAR | other)
    assert rows_of(seen_of(*jobs, *seeds()), "twin") == []


def test_kilometres_are_not_held_against_miles(seen_of):
    metric = CAR | {"odometer": 157_716.0, "odometer_unit": "km"}
    jobs = written("J1", vehicle=CAR | {"odometer_unit": "mi"}), written("J2", vehicle=metric)
    assert len(rows_of(seen_of(*jobs, *seeds()), "twin")) == 1


def test_a_comeback_is_no_copy(seen_of):
    jobs = written("J1"), written("J2", 2, comeback_of="J1")
    assert rows_of(seen_of(*jobs, *seeds()), "twin") == []


def test_a_car_without_a_vin_is_known_by_its_chain_of_comebacks(seen_of):
    first = written("J1", 20, said="wipers judder")
    back = written("J2", 3, comeback_of="J1"), written("J3", 2, comeback_of="J1")
    (row,) = rows_of(seen_of(first, *back, *seeds()), "twin")
    assert (row.cases, row.level) == (("J2", "J3"), Level.LOOK)


# --- same readings --------------------------------------------------------------------------------

QUANTITIES = ("vent_temp", "ambient_temp", "condenser_out_temp", "coolant_temp")


def measured(name, cause, *typed, method="seen"):
    day = WEEK.sunday - timedelta(days=4)
    readings = tuple(
        a_reading(quantity=key, typed=str(value), unit="degF")
        for key, value in zip(QUANTITIES, typed, strict=True)
    )
    return a_case(
        name,
        opened=day,
        vehicle=Vehicle(),
        closing=a_closing(cause, closed=day, proofs=(Proof(method=method),)),
        reading_sets=(ReadingSet(phase=Phase.BEFORE, readings=readings),),
    )


def crowd(size=40):
    """Return cases whose four readings go through all of their range in different orders."""
    steps = (7, 11, 13, 17)
    return [
        measured(f"B{at:02d}", f"cause_{at}", *(40 + 2 * (at * step % 41) for step in steps))
        for at in range(1, size + 1)
    ]


def test_the_same_readings_with_two_proven_causes_are_to_recheck(seen_of):
    pair = measured("J1", "x", 70, 95, 66, 131), measured("J2", "y", 70, 95, 66, 131)
    (row,) = rows_of(seen_of(*pair, *crowd()), "same_readings")
    assert (row.level, row.subject, row.cases) == (Level.LOOK, ("J1", "J2"), ("J1", "J2"))
    assert row.numbers["jobs"] == [{"job": "J1", "cause": "x"}, {"job": "J2", "cause": "y"}]
    assert len(row.numbers["readings"]) == 4
    assert row.numbers["by_luck"] < 1e-6


def test_a_cause_that_was_only_inferred_contradicts_nothing(seen_of):
    pair = (
        measured("J1", "x", 70, 95, 66, 131),
        measured("J2", "y", 70, 95, 66, 131, method="inferred"),
    )
    assert rows_of(seen_of(*pair, *crowd()), "same_readings") == []


def test_pairs_that_luck_makes_are_not_told(seen_of):
    assert rows_of(seen_of(*crowd()), "same_readings") == []


def test_causes_that_were_merged_are_one(seen_of):
    pair = (
        measured("J1", "fan_shroud_gap", 70, 95, 66, 131),
        measured("J2", "condenser_fan_dead", 70, 95, 66, 131),
    )
    seen = seen_of(*pair, *crowd())
    assert len(rows_of(seen, "same_readings")) == 1
    merged = ShopTerm(
        kind="cause",
        key="fan_shroud_gap",
        name="Gap at the fan shroud",
        body={"system": "hvac"},
        merged_into="condenser_fan_dead",
    )
    words = with_shop_terms(seen.words, [merged])
    assert rows_of(Seen(unit=seen.unit, week=WEEK, words=words), "same_readings") == []


# --- how many -------------------------------------------------------------------------------------


def test_the_newest_jobs_of_the_recent_weeks_are_compared(seen_of, monkeypatch):
    seen = seen_of(
        written("J1", 80),
        written("J2", 5),
        written("J3", 9),
        a_case_of(4, "J4"),
        a_case_of(1, "J5"),
    )
    assert [job.id for job in compared(seen)] == ["J3", "J2", "J4", "J5"]
    monkeypatch.setattr(topic, "MOST_COMPARED", 2)
    assert [job.id for job in compared(seen)] == ["J4", "J5"]


def test_a_job_closed_after_the_week_counts_as_an_open_one(seen_of):
    later = a_closing(closed=WEEK.sunday + timedelta(days=2))
    seen = seen_of(a_case("J1", opened=WEEK.monday, closing=later), a_case_of(1, "J2"))
    assert [(job.id, job.cause) for job in compared(seen)] == [
        ("J1", None),
        ("J2", "condenser_fan_dead"),
    ]


def a_case_of(days, name):
    day = WEEK.sunday - timedelta(days=days)
    return a_case(name, opened=day, closing=a_closing(closed=day))
