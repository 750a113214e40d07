from datetime import UTC, datetime, time, timedelta

import pytest

from kb.case.model import Origin
from kb.diagnosis.measure import Answered, brier_score
from kb.store.answers import Gain, ShownAnswer
from kb.workflow.week.answers import ENOUGH, KEPT_FOR, OLD_WEEKS, answers
from kb.workflow.week.rows import Level
from kb.workflow.week.shares import share_of
from tests.factories import a_case, a_closing
from tests.kb.store.other_process import NOW
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]
FAN, LEAK, FOULED, CHARGE = (
    "condenser_fan_dead",
    "low_charge_leak",
    "condenser_fouled",
    "overcharge",
)
# The usual answer: the fan first, then the leak.
SAID = ((FAN, 0.6), (LEAK, 0.2), (FOULED, 0.1), (CHARGE, 0.06), (None, 0.04))


def closed(id, cause=FAN, *, weeks_ago=0, overturned_by=None, **changes):  # noqa: A002
    day = WEEK.shifted(-weeks_ago).monday + timedelta(days=1)
    closing = a_closing(cause, closed=day, overturned_by=overturned_by)
    return a_case(id, closing=closing, **changes)


def said(*, causes=SAID, turns=(), **known):
    gains = tuple(
        Gain(
            ordinal=at, check=check, subject=None, outcome="x", minutes=None, bits=1.0,
            lead_changed=changed,
        )
        for at, (check, changed) in enumerate(turns)
    )  # fmt: skip
    return ShownAnswer(causes=causes, gains=gains, **known)


@pytest.fixture
def rows_of(store, seen_of):
    """Return a function that stores jobs with what was said before their closes; None for none."""

    def rows(kind, *told, at=NOW):
        with store.write("x", at) as unit:
            unit.jobs.add_many([job for job, _ in told], verb="import")
            for job, shown in told:
                unit.answers.keep(job.id, shown)
        return [row for row in answers(seen_of()) if row.kind == kind]

    return rows


# --- did they help -------------------------------------------------------------------------------


def test_how_often_the_cause_was_among_the_first_three_is_held_against_the_usual_causes(rows_of):
    recent = [(closed(f"J{at:02d}", LEAK), said()) for at in range(8)]
    recent += [(closed("J08", CHARGE), said()), (closed("J09", "fan_relay_x"), said())]
    before = [(closed(f"K{at}", weeks_ago=20), None) for at in range(3)]
    (row,) = rows_of("answers_helped", *recent, *before)
    assert row.numbers["share"] == share_of(8, 10)
    assert row.numbers["usual"]["share"] == share_of(0, 10)
    assert row.numbers["mrr"] == pytest.approx((8 / 2 + 1 / 4 + 0) / 10)
    chances = tuple(chance for _, chance in SAID)
    names = tuple(cause for cause, _ in SAID)
    truths = [LEAK] * 8 + [CHARGE, "fan_relay_x"]
    expected = brier_score([Answered(causes=names, chances=chances, truth=t) for t in truths])
    assert row.numbers["brier"] == pytest.approx(expected)
    assert row.cases == ("J09", "J08")
    assert row.level is Level.KNOW


def test_the_bands_hold_what_was_said_against_what_proved_true(rows_of):
    recent = [(closed(f"J{at:02d}", FAN if at < 7 else LEAK), said()) for at in range(10)]
    (row,) = rows_of("answers_helped", *recent)
    (band,) = row.numbers["bands"]
    assert (band["low"], band["answers"], band["right"]) == (0.6, 10, 7)
    assert row.numbers["usual"] is None


def test_answers_that_do_worse_than_the_most_frequent_cause_are_worth_a_look(rows_of):
    wrong = ((CHARGE, 0.9), (None, 0.1))
    recent = [(closed(f"J{at:02d}"), said(causes=wrong)) for at in range(12)]
    before = [(closed(f"K{at}", weeks_ago=20), None) for at in range(3)]
    (row,) = rows_of("answers_helped", *recent, *before)
    assert row.level is Level.LOOK


def test_nine_answers_are_too_few_to_tell_whether_they_helped(rows_of):
    few = [(closed(f"J{at}"), said()) for at in range(ENOUGH - 1)]
    others = [
        (closed("K1", weeks_ago=9), said()),
        (closed("K2", None), said()),
        (closed("K3", overturned_by="K1"), said()),
        (closed("K4"), None),
    ]
    assert not rows_of("answers_helped", *few, *others)


# --- new ground ----------------------------------------------------------------------------------


def test_cases_that_nothing_was_like_are_named(rows_of):
    (row,) = rows_of(
        "new_ground",
        (closed("J1"), said(nothing_like_it=True)),
        (closed("J2"), said()),
        (closed("J3", weeks_ago=1), said(nothing_like_it=True)),
        (closed("J4", None), said(nothing_like_it=True)),
    )
    assert row.cases == ("J1",)
    assert (row.numbers["cases"], row.numbers["of"]) == (1, 2)
    assert row.level is Level.LOOK


def test_searches_of_the_week_that_found_nothing_are_named_once(store, rows_of):
    start = datetime.combine(WEEK.monday, time(), UTC)
    for days, who in ((-1, "Ines"), (0, "Ines"), (1, "Omar"), (7, "Ines")):
        with store.write(who, start + timedelta(days=days)) as unit:
            unit.searches.add(f"zorble {max(days, 0) // 7}", "2016 Pellarin Copse")
    (row,) = rows_of("new_ground")
    assert row.numbers["asked"] == ["zorble 0, 2016 Pellarin Copse"]
    assert row.numbers["searches"] == 1
    assert row.level is Level.KNOW
    assert row.cases == ()


def test_a_week_without_new_ground_says_nothing(rows_of):
    assert not rows_of("new_ground", (closed("J1"), said()))


# --- taken for each other ------------------------------------------------------------------------


def test_a_pair_that_was_mistaken_is_named_with_the_check_that_tells_it_apart(rows_of):
    turned = (("cap_test", True), ("battery_test", False))
    right = [(closed(f"R{at}"), said(turns=turned)) for at in range(3)]
    leak_first = ((LEAK, 0.7), (FAN, 0.3))
    right += [(closed("R8", LEAK), said(causes=leak_first, turns=(("fan_test", True),)))]
    (row,) = rows_of(
        "mixed_up",
        *right,
        (closed("J1", LEAK), said(turns=(("battery_test", True),))),
        (closed("J2", LEAK, weeks_ago=51), said()),
        (closed("J3", LEAK, weeks_ago=53), said()),
        (closed("J4", FOULED), said()),
    )
    assert row.subject == (FAN, LEAK)
    assert row.numbers["share"] == share_of(2, 3)
    assert row.numbers["apart"] == [["cap_test", 3]]
    assert row.cases == ("J1", "J2")
    assert row.level is Level.KNOW


def test_three_mistakes_of_a_kind_are_worth_a_look(rows_of):
    told = [(closed(f"J{at}", LEAK), said()) for at in range(3)]
    (row,) = rows_of("mixed_up", *told)
    assert row.level is Level.LOOK
    assert row.numbers["apart"] == []


def test_one_mistake_or_nothing_like_it_is_no_pair(rows_of):
    lost = ((None, 0.7), (FAN, 0.3))
    told = [(closed("J1", LEAK), said())]
    told += [(closed(f"K{at}", FOULED), said(causes=lost)) for at in range(4)]
    assert not rows_of("mixed_up", *told)


# --- what nobody met for long --------------------------------------------------------------------


LONG_AGO = datetime.combine(WEEK.sunday, time(), UTC) - KEPT_FOR - timedelta(days=30)


def test_an_old_case_that_nobody_met_is_named(rows_of):
    (row,) = rows_of(
        "old_knowledge",
        (closed("O1", LEAK, weeks_ago=OLD_WEEKS), None),
        (closed("O2", FOULED, weeks_ago=OLD_WEEKS + 9), None),
        (closed("O3", FOULED, weeks_ago=OLD_WEEKS + 9), None),
        (closed("O4", CHARGE, weeks_ago=OLD_WEEKS), None),
        (closed("O5", LEAK, weeks_ago=OLD_WEEKS, origin=Origin.INVENTED), None),
        (closed("N1", CHARGE, weeks_ago=OLD_WEEKS - 1), None),
        (closed("N2"), said(matches=("O2",))),
        at=LONG_AGO,
    )
    assert row.cases == ("O3", "O1")
    assert (row.numbers["cases"], row.numbers["of"], row.numbers["causes"]) == (2, 4, 2)
    assert row.numbers["since"] == LONG_AGO.date().isoformat()


@pytest.mark.parametrize(
    ("at", "weeks_ago"), [(NOW, OLD_WEEKS), (LONG_AGO, OLD_WEEKS - 1)], ids=["answers", "jobs"]
)
def test_a_young_shop_or_young_answers_retire_nothing(rows_of, at, weeks_ago):
    old = (closed("O1", LEAK, weeks_ago=weeks_ago), None)
    assert not rows_of("old_knowledge", old, (closed("N1"), said()), at=at)


def test_without_any_answer_kept_nothing_is_said_to_be_unmet(rows_of):
    assert not rows_of("old_knowledge", (closed("O1", LEAK, weeks_ago=OLD_WEEKS), None))
