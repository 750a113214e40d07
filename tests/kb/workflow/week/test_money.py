from dataclasses import replace
from datetime import timedelta

import pytest

from kb.case.handover import dangers_of
from kb.case.model import FixKind, Option, Tried, Vehicle
from kb.case.shop_rows import ShopTerm
from kb.case.shop_words import with_shop_terms
from kb.case.terms import load_vocabulary
from kb.diagnosis.measure import wilson_interval
from kb.workflow.week.money import money
from kb.workflow.week.rows import Level
from kb.workflow.week.seen import Seen
from tests.factories import a_job
from tests.kb.workflow.week.test_left_undone import REPLACE, SUNDAY, declined, ended
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]

WORDS = load_vocabulary()
# A cause that endangers nobody, and one that does.
HARMLESS = next(key for key in WORDS.causes if not dangers_of(key, WORDS))
DANGER = next(key for key, row in WORDS.causes.items() if row.system == "brakes")


def rows_of(seen, kind):
    return {row.subject: row for row in money(seen) if row.kind == kind}


def share(count, of):
    low, high = wilson_interval(count, of) if of >= 5 else (None, None)
    return {"count": count, "of": of, "low": low, "high": high}


def tried(job, *parts):
    return replace(job, tried=tuple(Tried(part=part, **known) for part, known in parts))


def test_a_shop_without_any_of_it_has_no_row(seen_of):
    assert list(money(seen_of())) == []
    assert list(money(seen_of(ended("J1"), a_job("J2", tried=(Tried(part="fuse"),))))) == []


# --- parts that did not cure ----------------------------------------------------------------------


def test_parts_that_did_not_cure_are_summed_and_what_is_missing_is_counted(seen_of):
    seen = seen_of(
        tried(ended("J1", 3), ("Fan  relay", {"cost_cents": 1895, "minutes": 10.0}), ("fuse", {})),
        tried(ended("J2", 1), ("fan relay", {"cost_cents": 2000})),
        *(ended(f"K{at}") for at in range(8)),
        tried(ended("J9", 56), ("fuse", {"cost_cents": 1})),
    )
    rows = rows_of(seen, "money_lost")
    assert set(rows) == {(), ("fan relay",)}
    whole, relay = rows[()], rows[("fan relay",)]
    assert whole.level is Level.KNOW
    assert whole.numbers == {
        "times": 3,
        "share": share(2, 10),
        "cents": {"sum": 3895, "known": 2, "of": 3},
        "minutes": {"sum": 10.0, "known": 1, "of": 3},
    }
    assert (relay.level, relay.strength, relay.cases) == (Level.LOOK, 2, ("J2", "J1"))
    assert relay.numbers["cents"] == {"sum": 3895, "known": 2, "of": 2}
    assert relay.numbers["causes"] == [{"cause": "condenser_fan_dead", "jobs": 2}]


def test_no_cost_written_down_is_no_sum_of_nothing(seen_of):
    rows = rows_of(seen_of(tried(ended("J1"), ("fuse", {}))), "money_lost")
    assert rows[()].numbers["cents"] == {"sum": None, "known": 0, "of": 1}


def test_one_part_in_three_jobs_is_firm_and_twice_in_one_job_is_one(seen_of):
    seen = seen_of(
        tried(ended("J1"), ("fuse", {}), ("Fuse", {})),
        tried(ended("J2", cause=None, proofs=(), end="not_fixed"), ("fuse", {}), ("pump", {})),
        tried(ended("J3", cause="old_name"), ("FUSE", {}), ("pump", {}), ("belt", {})),
        tried(ended("J4"), ("belt ", {}), ("belt", {})),
        tried(ended("J5"), ("hose", {}), ("hose", {})),
    )
    term = ShopTerm(
        kind="cause", key="old_name", name="Old name", body={"system": "hvac"},
        merged_into="condenser_fan_dead",
    )  # fmt: skip
    seen = Seen(unit=seen.unit, week=WEEK, words=with_shop_terms(WORDS, [term]))
    rows = rows_of(seen, "money_lost")
    assert {key: row.level for key, row in rows.items() if key} == {
        ("fuse",): Level.ACT,
        ("pump",): Level.LOOK,
        ("belt",): Level.LOOK,
    }
    fuse = rows[("fuse",)].numbers
    assert (fuse["times"], fuse["share"]) == (4, share(3, 5))
    # The merged cause as the one that stands for it now; a job without a cause as one without.
    assert fuse["causes"] == [
        {"cause": "condenser_fan_dead", "jobs": 2},
        {"cause": None, "jobs": 1},
    ]


# --- repairs declined -----------------------------------------------------------------------------


def test_declined_repairs_are_listed_by_age_with_value_and_return(seen_of):
    seen = seen_of(
        declined("J1", 200, car="V1", cause=HARMLESS, options=(REPLACE,)),
        declined("J2", 100, car="V2", cause=HARMLESS),
        declined("J3", 90, car="V3", cause=HARMLESS, options=(REPLACE,)),
        declined("J4", 80, car="V4", cause=HARMLESS),
        declined("J5", 70, cause=HARMLESS, options=(replace(REPLACE, price_cents=1000),)),
        declined("J6", 60, cause=None, proofs=()),
        ended("K1", 20, car="V1", cause="fuse_blown"),
        ended("K3", 20, car="V3", cause=HARMLESS),
        a_job("K4", opened=SUNDAY, vehicle=Vehicle(vin="V4"), comeback_of="J4"),
    )
    (row,) = rows_of(seen, "declined").values()
    assert (row.level, row.strength) == (Level.LOOK, 42250)
    assert row.numbers["back"] == share(3, 5)
    assert row.numbers["done"] == share(1, 5)
    assert (row.numbers["waiting"], row.numbers["cents"]) == (
        4,
        {"sum": 42250, "known": 2, "of": 4},
    )
    assert row.cases == ("J1", "J2", "J4", "J5")
    first, second, third, last = row.numbers["jobs"]
    assert (first["days"], first["cause"], first["cents"]) == (200, HARMLESS, 41250)
    assert first["back"] == {
        "job": "K1", "comeback": False, "open": False, "cause": "fuse_blown", "same": False,
    }  # fmt: skip
    assert (second["back"], second["cents"], last["back"]) == (None, None, None)
    assert third["back"] == {
        "job": "K4", "comeback": True, "open": True, "cause": None, "same": False,
    }  # fmt: skip


def test_when_all_is_done_it_is_good_to_know(seen_of):
    seen = seen_of(
        declined("J1", 90, car="V1", cause=HARMLESS), ended("J2", 3, car="V1", cause=HARMLESS)
    )
    (row,) = rows_of(seen, "declined").values()
    assert (row.level, row.numbers["waiting"], row.cases) == (Level.KNOW, 0, ())
    assert row.numbers["cents"]["sum"] is None


# --- work-arounds ---------------------------------------------------------------------------------


def lasting(id, until, days=40, **known):  # noqa: A002
    day = None if until is None else SUNDAY + timedelta(days=until)
    return ended(id, days, end="workaround", fix=FixKind.WORKAROUND, until=day, **known)


def test_workarounds_are_called_in_when_their_time_is_up(seen_of):
    seen = seen_of(
        lasting("J1", -9, cause=HARMLESS),
        lasting("J2", -30),
        lasting("J3", 0),
        lasting("J4", 1),
        lasting("J5", 14),
        lasting("J6", 15),
        lasting("J7", None, 50),
        lasting("J8", None, 60),
        lasting("J9", -3, 52 * 7),
    )
    rows = rows_of(seen, "workaround")
    assert {key: (row.level, row.cases) for key, row in rows.items()} == {
        ("over",): (Level.ACT, ("J2", "J1", "J3")),
        ("due",): (Level.LOOK, ("J4", "J5")),
        ("no_end",): (Level.LOOK, ("J8", "J7")),
    }
    assert rows[("over",)].numbers["jobs"][1] == {
        "job": "J1",
        "car": "",
        "cause": HARMLESS,
        "until": (SUNDAY - timedelta(days=9)).isoformat(),
        "over": 9,
        "days": 40,
    }
    assert rows[("no_end",)].numbers["jobs"][0]["until"] is None


@pytest.mark.parametrize("back", [{"car": "V1"}, {"comeback_of": "J1"}])
def test_a_workaround_whose_car_came_back_drops_off(seen_of, back):
    seen = seen_of(lasting("J1", -9, car="V1"), ended("J2", 3, cause="fuse_blown", **back))
    assert rows_of(seen, "workaround") == {}
    before = Seen(unit=seen.unit, week=WEEK.shifted(-1), words=WORDS)
    assert list(rows_of(before, "workaround")) == [("over",)]


# --- safety ---------------------------------------------------------------------------------------


def test_a_safety_repair_declined_this_week_is_to_act_on(seen_of):
    told = Option(what="pads", risk="Safety repair declined. Told of the danger: the owner.")
    seen = seen_of(
        declined("J1", 3, cause=DANGER, options=(told,)),
        declined("J2", 2, cause=HARMLESS),
        ended("J3", 1, end="workaround", fix=FixKind.WORKAROUND, cause=DANGER),
        ended("J4", 1, cause=DANGER),
        declined("J5", 7, cause=DANGER, car="V5"),
        declined("J6", 26 * 7, cause=DANGER),
        declined("J7", 26 * 7 - 1, cause=DANGER, car="V7"),
        declined("J8", 90, cause=DANGER, car="V8"),
        ended("K8", 40, cause=DANGER, car="V8"),
        ended("K7", 40, cause=HARMLESS, car="V7"),
    )
    rows = rows_of(seen, "safety")
    assert {key: (row.level, row.cases) for key, row in rows.items()} == {
        ("week",): (Level.ACT, ("J1", "J3")),
        ("before",): (Level.LOOK, ("J7", "J5")),
    }
    week, before = rows[("week",)].numbers, rows[("before",)].numbers
    assert (week["told"], before["told"]) == (1, 0)
    assert [(one["told"], one["workaround"]) for one in week["jobs"]] == [
        (True, False),
        (False, True),
    ]
    # Came back for something else, and left again with the same danger.
    assert before["jobs"][0]["back"]["job"] == "K7"
