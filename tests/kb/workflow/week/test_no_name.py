import json
from datetime import timedelta

import pytest

from kb.case.casefile import read_folder
from kb.case.model import Complaint, Proof, Vehicle
from kb.store.migrate import bundled
from kb.workflow.week.kept import kept_text
from kb.workflow.week.likeness import likeness
from kb.workflow.week.rows import Level
from tests.factories import a_case, a_closing, a_job
from tests.kb.store.other_process import NOW
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]

# One new fault, written by different hands: a roof rail seal lets air in.
SAID = (
    "whistle from roof rail over 60 mph, gone with tape over the seal",
    "roof rail whistles at 65 mph, taped seal along the rail, quiet",
    "high whistle at the roof rail on highway, tape on rail seal cures",
    "customer hears whistle at roof rail above 60 mph, rail seal lip lifted, tape over it",
    "wind whistle, roof rail seal lifts, tape over seal stops whistle",
    "roof whistle 60 mph and up. pressed rail seal down: no whistle",
)
CAUSES = ("windscreen_seal", None, "tyre_cupping", None, None, "wheel_bearing")


def job(name, said, *, cause=None, days=3, vin=None):
    day = WEEK.sunday - timedelta(days=days)
    proofs = (Proof(method="seen"),) if cause else ()
    closing = a_closing(cause, closed=day, proofs=proofs, fix=None, fix_text="")
    return a_case(
        name,
        opened=day,
        system=None,
        closing=closing,
        vehicle=Vehicle(vin=vin or f"VIN{name}"),
        complaint=Complaint(said=said),
        lines=(said,),
        symptoms=(),
    )


def planted(causes=CAUSES, said=SAID):
    return [
        job(f"P{at}", text, cause=cause, days=40 - 7 * at)
        for at, (text, cause) in enumerate(zip(said, causes, strict=True))
    ]


@pytest.fixture(scope="module")
def seeds():
    return read_folder(bundled("seed_cases"))[0]


@pytest.fixture(scope="module")
def ordinary(seeds):
    """Return the demonstration's cases, some in the recent weeks and most in the year before."""
    made = []
    for at, seed in enumerate(seeds):
        said = seed.complaint.said
        days = [
            60 + at % 340,
            60 + (at + 150) % 340,
            60 + (at + 250) % 340,
            *([2 + at % 50] if at % 2 else []),
        ]
        made += [job(f"{seed.id}-{when}", said, cause=seed.cause, days=when) for when in days]
    return made


def groups(seen):
    return [row for row in likeness(seen) if row.kind == "no_name"]


def test_a_planted_group_is_told_with_what_holds_it_together(seen_of, ordinary):
    (row,) = groups(seen_of(*planted(), *ordinary))
    assert (row.level, row.subject) == (Level.LOOK, ("P0",))
    assert row.cases == ("P0", "P1", "P2", "P3", "P4", "P5")
    numbers = row.numbers
    assert (numbers["jobs"], numbers["vehicles"], numbers["unnamed"]) == (6, 6, 3)
    assert [one["cause"] for one in numbers["causes"]] == [
        "tyre_cupping", "wheel_bearing", "windscreen_seal",
    ]  # fmt: skip
    assert numbers["looks_like"] is None
    recent = sum((WEEK.sunday - job.opened).days < 60 for job in ordinary)
    seal = next(sign for sign in numbers["signs"] if sign["what"] == "rail seal")
    assert (seal["inside"], seal["outside"], seal["others"]) == (4, 0, recent)
    assert numbers["words"]["before"] == 0
    assert numbers["words"]["of_before"] == len(ordinary) - recent
    assert row == type(row).from_json(json.loads(json.dumps(row.as_json())))


def test_nothing_is_told_of_the_demonstrations_cases(seen_of, seeds, ordinary):
    assert groups(seen_of(*ordinary)) == []


def test_a_complaint_that_has_always_been_there_is_no_group(seen_of, ordinary):
    """Six in the recent weeks are as many as the year before lets expect."""
    before = [
        job(f"Q{copy}{at}", text, cause=cause, days=60 + 9 * copy + at)
        for copy in range(6)
        for at, (text, cause) in enumerate(zip(SAID, CAUSES, strict=True))
    ]
    assert groups(seen_of(*planted(), *before, *ordinary)) == []


def test_without_a_year_before_a_group_is_only_good_to_know(seen_of, seeds):
    recent = [job(seed.id, seed.complaint.said, cause=seed.cause) for seed in seeds[:60]]
    (row,) = groups(seen_of(*planted(), *recent))
    assert (row.level, row.numbers["words"]["of_before"]) == (Level.KNOW, 0)


def test_open_jobs_belong_to_a_group_too(seen_of, ordinary):
    *others, last = planted()
    still_open = a_job(
        "P5",
        opened=last.opened,
        system=None,
        vehicle=last.vehicle,
        complaint=last.complaint,
        lines=last.lines,
        symptoms=(),
    )
    (row,) = groups(seen_of(*others, still_open, *ordinary))
    assert "P5" in row.cases
    assert row.numbers["unnamed"] == 4


def test_jobs_that_look_like_one_cause_are_told_as_that_cause(seen_of, ordinary):
    (row,) = groups(seen_of(*planted(("windscreen_seal", *[None] * 5)), *ordinary))
    assert row.numbers["looks_like"] == "windscreen_seal"
    assert (row.level, row.numbers["unnamed"]) == (Level.LOOK, 5)


def test_jobs_of_one_written_cause_are_just_that_cause(seen_of, ordinary):
    assert groups(seen_of(*planted(("windscreen_seal",) * 6), *ordinary)) == []


def test_jobs_of_one_car_are_no_group(seen_of, ordinary):
    one_car = [
        job(f"P{at}", text, cause=cause, vin="ONE")
        for at, (text, cause) in enumerate(zip(SAID, CAUSES, strict=True))
    ]
    assert groups(seen_of(*one_car, *ordinary)) == []


def kept(store, week, body):
    with store.write("x", NOW) as unit:
        unit.reviews.keep(str(week), unit.reviews.claim(str(week)), body)


def test_a_group_keeps_its_key_from_week_to_week(store, seen_of, ordinary):
    seen = seen_of(*planted(), *ordinary)
    earlier = {"kind": "no_name", "subject": ["OLD"], "level": "look", "strength": 3, "numbers": {}}
    rows = [earlier | {"cases": ["P1", "P2"]}, earlier | {"kind": "safety", "cases": ["P1"]}]
    kept(store, WEEK.shifted(-3), kept_text({"rows": rows}))
    kept(store, WEEK.shifted(1), kept_text({"rows": [rows[0] | {"subject": ["LATER"]}]}))
    (row,) = groups(seen_of())
    assert row.subject == ("OLD",)
    assert seen.week == WEEK


@pytest.mark.parametrize("body", ["no json", "[]", '{"rows": [{"kind": "no_name"}]}'])
def test_a_kept_review_that_cannot_be_read_gives_no_keys(store, seen_of, ordinary, body):
    kept(store, WEEK.shifted(-1), body)
    (row,) = groups(seen_of(*planted(), *ordinary))
    assert row.subject == ("P0",)


def test_an_empty_week_and_a_single_job_tell_nothing(seen_of):
    assert list(likeness(seen_of())) == []
    assert list(likeness(seen_of(job("P0", SAID[0])))) == []
