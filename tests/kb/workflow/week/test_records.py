from datetime import timedelta

import pytest

from kb.case.model import AfterCheck, Phase, Proof, ReadingSet
from kb.case.shop_rows import ShopTerm
from kb.case.shop_words import with_shop_terms
from kb.case.terms import load_vocabulary
from kb.diagnosis.group_shares import spread_p
from kb.diagnosis.measure import wilson_interval
from kb.diagnosis.rates import difference_test, shrunken_shares
from kb.workflow.week.records import records
from kb.workflow.week.rows import Level
from kb.workflow.week.seen import Seen
from tests.factories import a_case, a_closing, a_reading
from tests.kb.store.other_process import NOW
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]

BEFORE = ReadingSet(readings=(a_reading(),))
AFTER = ReadingSet(phase=Phase.AFTER, readings=(a_reading(),))
INFERRED, SHOWN = (Proof(method="inferred"),), (Proof(method="seen"),)
HOLDS = (AfterCheck(kind="same_drive"),)


def kept(
    id,  # noqa: A002 - the model's own word
    cause="condenser_fan_dead",
    *,
    weeks_ago=0,
    proofs=SHOWN,
    sets=(),
    **closing,
):
    day = WEEK.shifted(-weeks_ago).monday + timedelta(days=2)
    system = closing.pop("system", "hvac")
    made = a_closing(cause, closed=day, proofs=proofs if cause else (), **closing)
    return a_case(id, closing=made, reading_sets=sets, system=system)


def row_of(seen, kind):
    found = [row for row in records(seen) if row.kind == kind]
    assert len(found) <= 1
    return found[0] if found else None


def share(count, of):
    low, high = wilson_interval(count, of)
    return {"count": count, "of": of, "low": low, "high": high}


def few(count, of):
    return {"count": count, "of": of, "low": None, "high": None}


# --- cases of the week ----------------------------------------------------------------------------


def test_a_shop_without_a_case_this_week_has_no_row_about_new_cases(seen_of):
    assert list(records(seen_of())) == []
    seen = seen_of(kept("J1", None, end="no_fault_found"), kept("J2", weeks_ago=1))
    assert row_of(seen, "records") is None


def test_a_case_is_complete_with_readings_before_and_after(seen_of):
    seen = seen_of(
        *(kept(f"J{at}", sets=(BEFORE, AFTER)) for at in range(3)),
        kept("J3", sets=(BEFORE,)),
        kept("J4", sets=(AFTER,), proofs=INFERRED),
        kept("J5", sets=(), proofs=INFERRED + SHOWN),
        kept("J6", None, end="no_fault_found"),
        kept("J7", weeks_ago=1, proofs=INFERRED),
        kept("J8", weeks_ago=3),
    )
    row = row_of(seen, "records")
    assert (row.level, row.numbers["cases"]) == (Level.KNOW, 6)
    assert row.numbers["complete"] == share(3, 6)
    assert row.numbers["verified"] == share(5, 6)
    weeks = row.numbers["weeks"]
    assert [(each["jobs"], each["cases"]) for each in weeks] == [(1, 1), (0, 0), (1, 1), (7, 6)]
    assert weeks[0]["week"] == str(WEEK.shifted(-3))
    assert weeks[2]["verified"] == few(0, 1)
    assert weeks[3]["complete"] == share(3, 6)


def test_the_two_cases_that_lack_most_are_named_with_what_they_lack(seen_of):
    seen = seen_of(
        kept("J1", sets=(BEFORE, AFTER), after_checks=HOLDS),
        kept("J2", sets=(BEFORE,), after_checks=HOLDS),
        kept("J3", proofs=INFERRED, fix=None, fix_text=""),
        kept("J4", sets=(BEFORE,)),
    )
    row = row_of(seen, "records")
    assert row.numbers["worst"] == [
        {"job": "J3", "missing": ["proof", "after", "before", "holds", "fix"]},
        {"job": "J4", "missing": ["after", "holds"]},
    ]
    assert row.cases == ("J3", "J4")


def test_where_nothing_is_missing_nobody_has_to_fill_anything(seen_of):
    row = row_of(seen_of(kept("J1", sets=(BEFORE, AFTER), after_checks=HOLDS)), "records")
    assert (row.numbers["worst"], row.cases) == ([], ())


# --- causes that were only inferred ---------------------------------------------------------------


def test_where_every_cause_was_shown_nothing_is_said_of_inferring(seen_of):
    seen = seen_of(kept("J1"), kept("J2", weeks_ago=9, proofs=INFERRED))
    assert row_of(seen, "inferred") is None


def test_inferred_causes_are_held_against_the_weeks_before(seen_of):
    seen = seen_of(
        *(kept(f"A{at:02}", f"c{at}", proofs=INFERRED, weeks_ago=at % 8) for at in range(10)),
        *(kept(f"B{at:02}", weeks_ago=7) for at in range(5)),
        *(kept(f"C{at:02}", weeks_ago=8, proofs=INFERRED if at < 2 else SHOWN) for at in range(20)),
        kept("D", weeks_ago=16, proofs=INFERRED),
    )
    row = row_of(seen, "inferred")
    assert row.numbers["recent"] == share(10, 15)
    assert row.numbers["before"] == share(2, 20)
    assert row.numbers["p"] == difference_test((10, 15), (2, 20))
    assert row.numbers["more"] is True
    assert row.numbers["causes"] == []
    assert row.level is Level.LOOK
    # The newest first.
    assert row.cases[:2] == ("A08", "A00")


def test_few_cases_are_too_few_to_compare(seen_of):
    row = row_of(seen_of(kept("J1", proofs=INFERRED)), "inferred")
    assert (row.numbers["p"], row.numbers["more"], row.level) == (None, False, Level.KNOW)
    assert row.numbers["recent"] == few(1, 1)
    assert row.numbers["before"] == few(0, 0)


def test_a_fall_is_not_told_as_a_rise(seen_of):
    seen = seen_of(
        *(kept(f"A{at}", proofs=INFERRED if at < 2 else SHOWN) for at in range(20)),
        *(kept(f"B{at}", weeks_ago=8, proofs=INFERRED) for at in range(20)),
    )
    row = row_of(seen, "inferred")
    assert row.numbers["p"] < 0.001
    assert (row.numbers["more"], row.level) == (False, Level.KNOW)


def test_a_cause_inferred_three_times_is_named_merged_causes_as_one(seen_of):
    jobs = (
        kept("J1", "old_name", proofs=INFERRED),
        kept("J2", "condenser_fan_dead", proofs=INFERRED),
        kept("J3", "old_name", proofs=INFERRED),
        kept("J4", "old_name"),
        kept("J5", "condenser_fouled", proofs=INFERRED),
        kept("J6", "condenser_fouled", proofs=INFERRED),
    )
    term = ShopTerm(
        kind="cause", key="old_name", name="Old name", body={"system": "hvac"},
        merged_into="condenser_fan_dead",
    )  # fmt: skip
    plain = seen_of(*jobs)
    words = with_shop_terms(load_vocabulary(), [term])
    row = row_of(Seen(unit=plain.unit, week=WEEK, words=words), "inferred")
    assert row.numbers["causes"] == [{"cause": "condenser_fan_dead", "share": few(3, 4)}]
    assert row.level is Level.LOOK
    assert row_of(plain, "inferred").numbers["causes"] == []


# --- where nothing is kept ------------------------------------------------------------------------


def test_a_system_without_a_case_stands_first_and_small_ones_last(seen_of):
    seen = seen_of(
        *(kept(f"A{at}") for at in range(6)),
        kept("A9", None, end="no_fault_found"),
        *(kept(f"B{at}", None, end="not_fixed", system="brakes") for at in range(5)),
        kept("C1", None, end="normal", system="cooling"),
        kept("D1", weeks_ago=8, system="driveline"),
    )
    row = row_of(seen, "kept")
    assert row.numbers["all"] == share(6, 13)
    assert row.numbers["systems"] == [
        {"system": "brakes", "share": share(0, 5)},
        {"system": "hvac", "share": share(6, 7)},
        {"system": "cooling", "share": few(0, 1)},
    ]
    assert (row.level, row.cases) == (Level.LOOK, ())


def test_a_system_with_few_jobs_is_no_reason_to_look(seen_of):
    jobs = [kept(f"A{at}", None, end="normal", system=None) for at in range(4)]
    row = row_of(seen_of(*jobs), "kept")
    assert row.numbers["systems"] == [{"system": None, "share": few(0, 4)}]
    assert row.level is Level.KNOW


# --- between people -------------------------------------------------------------------------------


@pytest.fixture
def closed_by(store):
    """Return a function that closes so many cases, the first of them with readings after."""

    def close(who, again, of, *, weeks_ago=0):
        with store.write(who, NOW) as unit:
            for at in range(of):
                sets = (AFTER,) if at < again else ()
                job = kept(f"{who}{weeks_ago}-{at}", sets=sets, weeks_ago=weeks_ago)
                unit.jobs.add(job, verb="close")

    return close


def test_people_are_compared_without_a_name_a_case_or_an_order(closed_by, seen_of):
    people = {"Ann": (2, 20), "Zoe": (18, 24), "Mia": (10, 21)}
    for who, (again, of) in people.items():
        closed_by(who, again, of)
    closed_by("Sam", 0, 19)
    row = row_of(seen_of(), "spread")
    counts, ofs = zip(*sorted(people.values()), strict=True)
    low, _, high = sorted(shrunken_shares(counts, ofs), key=lambda each: each.share)
    assert row.numbers["people"] == 3
    assert row.numbers["lowest"]["share"] == pytest.approx(low.share)
    assert row.numbers["highest"]["high"] == pytest.approx(high.high)
    assert low.share > 2 / 20
    assert row.numbers["p"] == spread_p(counts, ofs)
    assert (row.numbers["more"], row.level) == (True, Level.LOOK)
    told = str(row.as_json())
    assert not any(who in told for who in (*people, "Sam"))
    assert row.cases == ()


def test_two_people_or_few_cases_are_never_compared(closed_by, seen_of):
    closed_by("Ann", 2, 20)
    closed_by("Zoe", 18, 20)
    closed_by("Mia", 9, 19)
    # Too long ago to count.
    closed_by("Mia", 1, 1, weeks_ago=52)
    assert row_of(seen_of(), "spread") is None
    closed_by("Mia", 1, 1, weeks_ago=51)
    assert row_of(seen_of(), "spread").numbers["people"] == 3


def test_people_who_do_the_same_differ_by_luck_only(closed_by, seen_of):
    for who in ("Ann", "Zoe", "Mia"):
        closed_by(who, 10, 20)
    row = row_of(seen_of(), "spread")
    assert (row.numbers["more"], row.level) == (False, Level.KNOW)
    assert row.numbers["p"] == pytest.approx(1.0)
