from datetime import timedelta

import pytest

from kb.case.model import Finding, Proof, Reading, ReadingSet, Vehicle
from kb.case.terms import load_vocabulary
from kb.store.answers import Gain, ShownAnswer
from kb.workflow.week.checks import BEST, ENOUGH, IN_ORDER, checks
from kb.workflow.week.rows import Level
from tests.factories import a_case, a_closing
from tests.kb.store.other_process import NOW
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]
WORDS = load_vocabulary()
FAN, LEAK, BATTERY = "fan_command_test", "leak_search_dye", "battery_test"


def told(check=FAN, *, bits=1.0, minutes=5.0, outcome="no_run", changed=True):
    return Gain(
        ordinal=0, check=check, subject=None, outcome=outcome, minutes=minutes, bits=bits,
        lead_changed=changed,
    )  # fmt: skip


def closed(id, *, weeks_ago=0, **changes):  # noqa: A002 - the model's own word
    day = WEEK.shifted(-weeks_ago).monday + timedelta(days=1)
    proofs = changes.pop("proofs", (Proof(method="measured_out", text="0 A"),))
    return a_case(id, closing=a_closing(closed=day, proofs=proofs), **changes)


@pytest.fixture
def rows_of(store, seen_of):
    """Return a function that stores jobs and what was said before their closes."""

    def rows(kind, jobs, shown=()):
        with store.write("x", NOW) as unit:
            unit.jobs.add_many(jobs, verb="import")
            for job, answer in zip(jobs, shown, strict=False):
                unit.answers.keep(job.id, answer)
        return [row for row in checks(seen_of()) if row.kind == kind]

    return rows


def runs(*gains, weeks_ago=0):
    """Return a job and an answer for each gain."""
    jobs = [closed(f"J{at:03d}", weeks_ago=weeks_ago) for at in range(len(gains))]
    return jobs, [ShownAnswer(causes=((None, 1.0),), gains=(gain,)) for gain in gains]


# --- checks that paid ----------------------------------------------------------------------------


def test_a_check_that_paid_has_its_bits_for_a_minute_with_an_interval(rows_of):
    gains = [told(bits=1.0 + at % 2, minutes=10.0) for at in range(ENOUGH)]
    (row,) = rows_of("check_paid", *runs(*gains))
    assert row.subject == (FAN,)
    assert row.numbers["bits_per_minute"] == pytest.approx(0.15)
    assert 0 < row.numbers["low"] < 0.15 < row.numbers["high"]
    assert (row.numbers["runs"], row.numbers["written"], row.numbers["changed"]) == (10, 10, 10)
    assert row.level is Level.KNOW


def test_where_no_minutes_were_written_those_of_the_catalogue_stand(rows_of):
    gains = [told(minutes=None, bits=1.0 + at % 2) for at in range(ENOUGH)]
    (row,) = rows_of("check_paid", *runs(*gains))
    usual = WORDS.checks[FAN].typical_minutes
    assert row.numbers["bits_per_minute"] == pytest.approx(1.5 / usual)
    assert row.numbers["written"] == 0


def test_too_few_runs_or_runs_of_years_ago_say_nothing(rows_of):
    few = [told(bits=1.0 + at % 2) for at in range(ENOUGH - 1)]
    assert not rows_of("check_paid", *runs(*few))


def test_runs_of_more_than_a_year_ago_say_nothing(rows_of):
    old = [told(bits=1.0 + at % 2) for at in range(ENOUGH)]
    assert not rows_of("check_paid", *runs(*old, weeks_ago=53))


def test_gains_that_may_be_luck_are_not_named_as_paid(rows_of):
    gains = [told(bits=3.0 if at == 0 else 0.0) for at in range(ENOUGH)]
    assert not rows_of("check_paid", *runs(*gains))


def test_the_best_few_are_named_the_best_first(rows_of):
    names = [FAN, LEAK, BATTERY, "cap_test"]
    gains = [
        told(name, bits=(1 + at) * (1 + n % 2), minutes=10.0)
        for at, name in enumerate(names)
        for n in range(ENOUGH)
    ]
    rows = rows_of("check_paid", *runs(*gains))
    assert len(rows) == BEST
    strongest = sorted(rows, key=lambda row: row.place)
    assert [row.subject[0] for row in strongest] == ["cap_test", BATTERY, LEAK]


# --- checks that change nothing ------------------------------------------------------------------


def nothing(**changes):
    return told(BATTERY, **{"outcome": "good", "bits": 0.0, "changed": False} | changes)


def test_a_check_that_never_changes_anything_is_worth_a_look(rows_of):
    (row,) = rows_of("check_idle", *runs(*[nothing()] * ENOUGH))
    assert (row.subject, row.level) == ((BATTERY,), Level.LOOK)
    assert (row.numbers["share"]["count"], row.numbers["share"]["of"]) == (10, 10)
    assert row.numbers["minutes"] == 50.0


@pytest.mark.parametrize(
    "other", [{"outcome": "failed"}, {"changed": True}, {"bits": 0.4}], ids=str
)
def test_a_fault_found_another_leader_or_something_told_is_no_idle_run(rows_of, other):
    gains = [*[nothing()] * (ENOUGH - 3), *[nothing(**other)] * 3]
    assert not rows_of("check_idle", *runs(*gains))


def test_nine_runs_are_too_few_to_call_a_check_idle(rows_of):
    assert not rows_of("check_idle", *runs(*[nothing()] * (ENOUGH - 1)))


def test_every_outcome_in_order_is_one_of_the_catalogue():
    assert {outcome for row in WORDS.checks.values() for outcome in row.outcomes} >= IN_ORDER


# --- checks left out -----------------------------------------------------------------------------


def first(check, *jobs):
    return list(jobs), [ShownAnswer(causes=((None, 1.0),), first_check=check)] * len(jobs)


def did(id, check, outcome="good", note=""):  # noqa: A002 - the model's own word
    return closed(id, findings=(Finding(check=check, outcome=outcome, note=note),))


def test_a_first_check_that_was_left_out_is_counted_with_its_reasons(rows_of):
    jobs = [
        closed("J1"),
        did("J2", BATTERY, "not_done", "no tester"),
        did("J3", FAN),
        did("J4", BATTERY),
        did("J5", BATTERY),
    ]
    (row,) = rows_of("check_skipped", *first(BATTERY, *jobs))
    assert row.subject == (BATTERY,)
    assert (row.numbers["share"]["count"], row.numbers["share"]["of"]) == (3, 5)
    assert (row.numbers["said"], row.numbers["notes"]) == (1, ["no tester"])
    assert row.cases == ("J3", "J2", "J1")
    assert row.level is Level.KNOW


def test_a_check_left_out_nearly_always_is_worth_a_look(rows_of):
    jobs = [closed(f"J{at}") for at in range(6)]
    (row,) = rows_of("check_skipped", *first(BATTERY, *jobs))
    assert row.level is Level.LOOK


@pytest.mark.parametrize("left_out", [0, 2])
def test_one_or_two_left_out_are_no_row(rows_of, left_out):
    jobs = [closed(f"J{at}") if at < left_out else did(f"J{at}", BATTERY) for at in range(8)]
    assert not rows_of("check_skipped", *first(BATTERY, *jobs))


def test_four_jobs_are_too_few_to_say_what_is_left_out(rows_of):
    assert not rows_of("check_skipped", *first(BATTERY, *[closed(f"J{at}") for at in range(4)]))


def test_a_check_whose_readings_are_typed_was_done(rows_of):
    check = next(row for row in WORDS.checks.values() if row.reads)
    readings = tuple(
        Reading(quantity=key, typed="1", unit=WORDS.quantities[key].unit, canonical=1.0)
        for key in check.reads
    )
    jobs = [closed(f"J{at}", reading_sets=(ReadingSet(readings=readings),)) for at in range(6)]
    assert not rows_of("check_skipped", *first(check.key, *jobs))


@pytest.mark.parametrize(("method", "rows"), [("seen", 0), ("measured_out", 1)])
def test_a_fault_that_was_seen_was_looked_at(rows_of, method, rows):
    proofs = (Proof(method=method, text="broken"),)
    jobs = [closed(f"J{at}", proofs=proofs) for at in range(6)]
    assert len(rows_of("check_skipped", *first("look_over", *jobs))) == rows


def test_jobs_of_more_than_eight_weeks_ago_are_not_asked(rows_of):
    jobs = [closed(f"J{at}", weeks_ago=9) for at in range(6)]
    assert not rows_of("check_skipped", *first(BATTERY, *jobs))


# --- checks that take longer ---------------------------------------------------------------------

COPSE = Vehicle(make="Pellarin", model="Copse", engine="2.0")


def took(*minutes, vehicle=COPSE):
    return [
        closed(
            f"J{at}", vehicle=vehicle,
            findings=(Finding(check=BATTERY, outcome="good", minutes=each),),
        )
        for at, each in enumerate(minutes)
    ]  # fmt: skip


def expected():
    # Battery tester at the hood: the middle of its minutes, and one to open the hood.
    return WORDS.checks[BATTERY].typical_minutes + 1.0


def test_a_check_that_takes_half_as_long_again_is_flagged_for_its_platform(rows_of):
    usual = expected()
    (row,) = rows_of("slow_check", took(*[usual * 1.5] * 3, usual, usual * 4))
    assert row.subject == (BATTERY, "Pellarin", "Copse", "2.0")
    assert row.numbers == {
        "runs": 5,
        "low": usual * 1.5,
        "middle": usual * 1.5,
        "high": usual * 1.5,
        "expected": usual,
    }
    assert row.level is Level.LOOK
    assert row.cases[0] == "J4"


@pytest.mark.parametrize("runs", [4, 6])
def test_few_minutes_or_usual_ones_are_no_row(rows_of, runs):
    usual = expected()
    each = usual * 9 if runs == 4 else usual * 1.4
    assert not rows_of("slow_check", took(*[each] * runs))
