"""The forms against each other, without a store: each gives back the records that it took."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kb.case.terms import load_vocabulary
from kb.store.exported import HISTORY
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange.case_files import CaseFolder
from kb.workflow.exchange.csv_tables import read_tables
from kb.workflow.exchange.give_out import FORMATS
from kb.workflow.exchange.lines import read_lines
from kb.workflow.exchange.records import End, JobRecord, RowRecord, Start
from tests.kb.strategies import jobs
from tests.whole_shop import NOW

LINE = {"at": NOW, "who": "=Ines", "verb": "open", "job_id": None, "what": "a\r\nb"}


class Words:
    """Words that are there already."""

    def read(self):
        return load_vocabulary()


READERS = {
    "cases": lambda folder: CaseFolder(folder / "cases", Words()).records(),  # type: ignore[arg-type]
    "jsonl": lambda folder: read_lines(folder / "shop.jsonl"),
    "csv": lambda folder: read_tables(folder / "tables"),
}


@pytest.mark.parametrize("form", FORMATS)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(drawn=st.lists(jobs(), max_size=2, unique_by=lambda job: job.id), revision=st.integers(1, 9))
def test_any_jobs_come_back_equal(form, drawn, revision):
    kept = [KeptJob(job=job, revision=revision) for job in sorted(drawn, key=lambda row: row.id)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sink = FORMATS[form](folder)
        sink.start(Start(jobs=len(kept), last_job=3, made_at=NOW))
        for job in kept:
            sink.job(job)
        sink.row(HISTORY, LINE)
        sink.end()
        start, *middle, line, end = READERS[form](folder)
    assert start == Start(jobs=len(kept), last_job=3)
    assert [row.kept for row in middle if isinstance(row, JobRecord)] == kept
    assert isinstance(line, RowRecord)
    assert line.values == LINE
    assert isinstance(end, End)
    assert end.expected == end.got
