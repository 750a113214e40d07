"""Changed jobs: what is written of them, and that they come back as they were saved."""

from dataclasses import replace

import pytest
from sqlalchemy import event

from kb.case.model import Finding, Job, Reading, ReadingSet, Response, Symptom
from kb.store.columns import Base
from kb.store.loading import load_jobs
from kb.store.rows import rows_of
from kb.store.saving import first_changes
from kb.store.tables import ClosingRow, CodeRow, FindingRow, LineRow, ReadingSetRow, SymptomRow
from tests.factories import a_full_case, a_job
from tests.kb.store.other_process import NOW

JOB = a_full_case("J1")


def with_readings(job: Job, at: int, *readings: Reading) -> Job:
    """Return a job with other readings in one of its sets."""
    sets = list(job.reading_sets)
    sets[at] = replace(sets[at], readings=readings)
    return replace(job, reading_sets=tuple(sets))


def changed_jobs() -> list[tuple[dict[type[Base], int], Job]]:
    """Return jobs made of ``JOB``, each with what is to be written anew and from which place."""
    assert JOB.closing is not None
    other = replace(JOB.reading_sets[0].readings[0], typed="41", canonical=41.0)
    last = len(JOB.reading_sets) - 1
    more = ReadingSet(readings=(other,))
    answered = replace(JOB.symptoms[0], response=Response(action="fan fed"))
    return [
        ({}, JOB),
        ({}, replace(JOB, waits_for="a part")),
        ({LineRow: len(JOB.lines)}, replace(JOB, lines=(*JOB.lines, "fan silent"))),
        ({LineRow: len(JOB.lines) - 1}, replace(JOB, lines=JOB.lines[:-1])),
        ({ReadingSetRow: 0}, with_readings(JOB, 0, other)),
        ({ReadingSetRow: last}, with_readings(JOB, last, other)),
        ({ReadingSetRow: last}, with_readings(JOB, last)),
        ({ReadingSetRow: last + 1}, replace(JOB, reading_sets=(*JOB.reading_sets, more))),
        ({SymptomRow: 0}, replace(JOB, symptoms=(answered, *JOB.symptoms[1:]))),
        ({ClosingRow: 0}, replace(JOB, closing=replace(JOB.closing, proofs=()))),
        ({CodeRow: 0, ClosingRow: 0}, replace(JOB, codes=(), closing=None)),
    ]


@pytest.mark.parametrize(("places", "changed"), changed_jobs())
def test_of_a_changed_job_only_the_rows_from_the_first_that_differs_are_written(places, changed):
    assert first_changes(rows_of((JOB,)), rows_of((changed,))) == places


@pytest.mark.parametrize("changed", [changed for _, changed in changed_jobs()])
def test_a_changed_job_comes_back_as_it_was_saved_and_so_does_the_one_before_it(store, changed):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(JOB, verb="import")
    for wanted in (changed, JOB, changed):
        with store.write("Ines", NOW) as unit:
            unit.jobs.save(wanted, verb="edit")
        with store.read() as unit:
            assert load_jobs(unit.connection, ("J1",)) == (wanted,)
            assert unit.jobs.verify_hashes() == ()


def test_a_text_that_is_added_deletes_and_rewrites_no_row_below_the_job(store):
    job = a_job("J1", lines=("no crank",), symptoms=(Symptom(text="no crank"),))
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(job, verb="open")
    asked: list[str] = []
    with store.write("Ines", NOW) as unit:
        event.listen(
            unit.connection,
            "before_cursor_execute",
            lambda *call: asked.append(call[2]),
        )
        more = Finding(check="battery_test", outcome="good")
        job = replace(job, lines=(*job.lines, "battery good"), findings=(more,))
        unit.jobs.save(job, verb="add")
    below = (LineRow, SymptomRow, FindingRow)
    names = {row.__tablename__ for row in below}
    written = [one.split()[:3] for one in asked if not one.startswith("SELECT")]
    assert [words for words in written if names & set(words)] == [
        ["INSERT", "INTO", "lines"],
        ["INSERT", "INTO", "findings"],
    ]
