import gc
import re
import subprocess
import sys
import threading
from datetime import UTC, date, datetime, timedelta

import pytest

from kb.case.iso_week import IsoWeek
from kb.case.terms import load_vocabulary
from kb.workflow import review
from kb.workflow.memory import Memory
from kb.workflow.review import first_week, kept_review, review_week
from kb.workflow.week.rows import Level, WeekRow
from tests.factories import a_case, a_closing

pytestmark = pytest.mark.both_engines

WEEK = IsoWeek(date(2026, 11, 16))
NOW = datetime(2026, 11, 23, 7, tzinfo=UTC)


def rows_of(seen):
    yield WeekRow(kind="kept", numbers={"jobs": len(seen.week_jobs)})
    for at, level in enumerate(Level):
        yield WeekRow(kind="old_job", subject=(str(at),), level=level)
        yield WeekRow(kind="held", subject=(str(at),), level=level)


def counted(memory, now=NOW, *, anew=False):
    """Return the review of the week, which must be there."""
    made = review_week(memory, WEEK, who="Ines", now=now, anew=anew)
    assert made is not None
    return made


@pytest.fixture
def memory(store, monkeypatch):
    """Return the memory of a shop with one job in the week, and one topic that counts."""
    monkeypatch.setattr(review, "TOPICS", (rows_of,))
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_case("J1", closing=a_closing(closed=WEEK.monday)), verb="import")
    return Memory(store, load_vocabulary())


def test_a_week_is_counted_when_first_asked_for_and_kept(memory, monkeypatch):
    made = counted(memory)
    assert (made.jobs, made.cases, made.made_at) == (1, 1, NOW)
    assert [row.key for row in made.first] == ["old_job:0", "held:0", "old_job:1"]
    assert sorted(row.key for row in (*made.first, *made.rest)) == sorted(
        row.key for row in made.rows
    )
    (kept,) = [row for row in made.rows if row.kind == "kept"]
    assert kept.numbers == {"jobs": 1}
    assert made.row("kept") == kept
    assert made.row("kept:x") is None
    monkeypatch.setattr(review, "TOPICS", ())
    assert counted(memory, NOW + timedelta(days=1)) == made


def test_a_week_is_counted_again_when_told(memory):
    counted(memory)
    with memory.store.write("x", NOW) as unit:
        unit.jobs.add(a_case("J2", closing=a_closing(closed=WEEK.sunday)), verb="import")
    again = counted(memory, NOW + timedelta(days=1), anew=True)
    assert [row.numbers for row in again.rows if row.kind == "kept"] == [{"jobs": 2}]


def test_garbage_is_collected_again_when_a_week_is_counted_or_not(memory, monkeypatch):
    during = []

    def topic(seen):
        during.append(gc.isenabled())
        if len(during) == 2:
            raise ValueError("a topic that fails")
        return ()

    monkeypatch.setattr(review, "TOPICS", (topic,))
    counted(memory)
    with pytest.raises(ValueError, match="a topic that fails"):
        counted(memory, NOW + timedelta(days=1), anew=True)
    assert during == [False, False]
    assert gc.isenabled()


def test_while_another_counts_there_is_no_review(memory):
    with memory.store.write("x", NOW) as unit:
        assert unit.reviews.claim(str(WEEK))
    assert review_week(memory, WEEK, who="Ines", now=NOW + timedelta(seconds=9)) is None
    assert counted(memory, NOW + timedelta(minutes=5)).jobs == 1


def test_of_many_who_ask_at_once_one_counts(memory, monkeypatch):
    asked = []

    def topic(seen):
        asked.append(seen.week)
        return rows_of(seen)

    monkeypatch.setattr(review, "TOPICS", (topic,))
    start = threading.Barrier(6)
    found = []

    def ask():
        start.wait()
        found.append(review_week(memory, WEEK, who="Ines", now=NOW))

    threads = [threading.Thread(target=ask) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert asked == [WEEK]
    assert any(found)


@pytest.mark.parametrize(
    ("was", "is_now"),
    [
        (r".*", ""),
        (r".*", "[]"),
        (r".*", '{"form": 1, "rows": []}'),
        (r".*", "[" * 100_000),
        (r".{9}$", ""),
        (r'"jobs": 1, ', ""),
        (r'"cases": 1', '"cases": "many"'),
        (r'"numbers": {"jobs": 1}', '"numbers": {}'),
        (r'"subject": \["0"\]', '"subject": [0]'),
    ],
)
def test_a_review_that_was_damaged_is_counted_again(memory, was, is_now):
    whole = counted(memory)
    with memory.store.write("x", NOW) as unit:
        body = unit.reviews.get(str(WEEK)).body
        damaged = re.sub(was, is_now, body, count=1)
        assert damaged != body
        unit.reviews.keep(str(WEEK), unit.reviews.claim(str(WEEK), anew=True), damaged)
    assert kept_review(memory.store, WEEK) is None
    assert counted(memory) == whole


def test_a_shop_with_a_job_of_year_one_begins_at_the_oldest_week(memory):
    with memory.store.write("x", NOW) as unit:
        unit.jobs.add(a_case("J0", opened=date.min), verb="import")
    assert first_week(memory.store) == IsoWeek.parse("1900-W01")
    assert first_week(memory.store, asked=IsoWeek.parse("1900-W01")) == IsoWeek.parse("1900-W01")
    made = review_week(memory, IsoWeek.parse("1900-W01"), who="Ines", now=NOW)
    assert made is not None
    assert made.jobs == 0


def test_a_week_with_jobs_before_it_is_told_one_that_lies_before(memory):
    first = first_week(memory.store)
    assert first is not None
    later = first.shifted(2)
    assert first_week(memory.store, asked=later) == later.shifted(-1)
    assert {first_week(memory.store, asked=first.shifted(by)) for by in (0, -1)} == {first}


def test_a_review_that_is_counted_anew_keeps_its_mark_while_it_says_the_same(memory, monkeypatch):
    made = counted(memory)
    assert made.mark
    assert counted(memory, NOW + timedelta(minutes=1), anew=True).mark == made.mark
    monkeypatch.setattr(review, "TOPICS", ())
    assert counted(memory, NOW + timedelta(minutes=2), anew=True).mark != made.mark


def test_three_decisions_are_about_three_matters(memory, monkeypatch):
    def topic(_):
        for at, kind in enumerate(("rising_cause", "rising_pair", "rising_pair", "old_job")):
            yield WeekRow(kind=kind, subject=("leak", str(at)), level=Level.ACT)
        yield WeekRow(kind="season", level=Level.LOOK)
        yield WeekRow(kind="twin", level=Level.LOOK)

    monkeypatch.setattr(review, "TOPICS", (topic,))
    made = counted(memory)
    assert [row.kind for row in made.first] == ["rising_cause", "old_job", "season"]
    assert [row.kind for row in made.first_matters[0].others] == ["rising_pair", "rising_pair"]
    assert [row.kind for row in made.rest] == ["rising_pair", "rising_pair", "twin"]


def test_counting_that_failed_leaves_the_week_to_the_next_who_asks(memory, monkeypatch):
    def fails(_):
        raise ZeroDivisionError

    monkeypatch.setattr(review, "TOPICS", (fails,))
    with pytest.raises(ZeroDivisionError):
        counted(memory)
    monkeypatch.setattr(review, "TOPICS", (rows_of,))
    assert counted(memory).jobs == 1


def test_a_week_counted_while_it_ran_is_counted_again_on_any_later_day(memory):
    while_running = datetime(2026, 11, 17, 12, tzinfo=UTC)
    assert counted(memory, while_running).jobs == 1
    with memory.store.write("x", NOW) as unit:
        unit.jobs.add(a_case("J2", closing=a_closing(closed=WEEK.sunday)), verb="import")
    assert counted(memory, while_running + timedelta(hours=1)).jobs == 1
    assert counted(memory, while_running + timedelta(days=1)).jobs == 2
    whole = counted(memory)
    assert whole.made_at == NOW
    assert counted(memory, NOW + timedelta(days=9)) == whole


def test_of_several_processes_that_ask_at_once_one_counts(store, store_url, tmp_path):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_case("J1", closing=a_closing(closed=WEEK.monday)), verb="import")
    gate, counted_by = tmp_path / "gate", tmp_path / "counted"
    command = [sys.executable, "-m", "tests.kb.workflow.counting_process", store_url]
    asking = [
        subprocess.Popen(
            [*command, str(gate), str(counted_by), f"p{at}"], stdout=subprocess.PIPE, text=True
        )
        for at in range(4)
    ]
    for process in asking:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    gate.touch()
    told = sorted(process.communicate(timeout=60)[0].strip() for process in asking)
    assert [process.returncode for process in asking] == [0] * 4
    assert len(counted_by.read_text("utf-8").split()) == 1
    assert set(told) <= {"1 jobs", "nothing yet"}
    assert "1 jobs" in told
    kept = kept_review(store, WEEK)
    assert kept is not None
    assert kept.jobs == 1
