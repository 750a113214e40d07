"""What goes out comes in as it was, in each form; what is missing is told, nothing is doubled."""

import json
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kb.errors import ExchangeError, VocabularyError
from kb.store.exported import BEFORE_JOBS, BESIDE, HISTORY
from kb.workflow.exchange.give_out import FORMATS
from tests.factories import a_case
from tests.kb.strategies import jobs
from tests.kb.workflow.exchange.conftest import Place
from tests.whole_shop import held


def lines_of(out):
    return (out / "shop.jsonl").read_text("utf-8").splitlines()


def with_lines(out, change):
    """Write the lines of an export anew, each changed, those that become None left out."""
    kept = [made for line in lines_of(out) if (made := change(json.loads(line))) is not None]
    text = "".join(json.dumps(line) + "\n" for line in kept)
    (out / "shop.jsonl").write_text(text, "utf-8")


def test_the_shop_of_these_tests_holds_something_in_every_table(filled):
    rows, kept, number = held(filled.store)
    assert all(rows[table.name] for table in (*BEFORE_JOBS, HISTORY))
    assert {name for job in kept for name in job.beside} == {table.name for table in BESIDE}
    assert (len(kept), max(job.revision for job in kept), number) == (4, 2, 1)


@pytest.mark.parametrize("form", FORMATS)
def test_everything_that_a_shop_holds_comes_back_as_it_was(filled, empty, out, form):
    assert empty.take(out, form).refused == []
    assert held(empty.store) == held(filled.store)
    with empty.store.read() as unit:
        assert unit.jobs.verify_hashes() == ()
        assert [row.password_hash for row in unit.people.all()] == [None]
        assert unit.notes.get(1).text.body_html == "<h4>Look</h4>"
    photo = next((out / "photos").rglob("*.jpg"))
    assert (empty.photos / photo.parent.name / photo.name).read_bytes() == photo.read_bytes()


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(drawn=st.lists(jobs(), max_size=3, unique_by=lambda job: job.id))
def test_any_jobs_come_back_equal_through_a_store(drawn):
    numbered = [replace(job, invoice=job.invoice and str(at)) for at, job in enumerate(drawn)]
    with tempfile.TemporaryDirectory() as folder:
        first = Place(Path(folder, "first"))
        with first.store:
            first.put(*numbered)
            first.export(Path(folder, "out"))
            there = held(first.store)
        for form in FORMATS:
            second = Place(Path(folder, form))
            with second.store:
                assert second.take(Path(folder, "out"), form).refused == []
                assert held(second.store) == there


@pytest.mark.parametrize("form", FORMATS)
def test_the_same_export_a_second_time_adds_nothing(empty, out, form):
    empty.take(out, form)
    before = held(empty.store)
    with empty.store.read() as unit:
        written = unit.history.last_seq()
    again = empty.take(out, form)
    assert (sum(again.added.values()), again.refused) == (0, [])
    assert again.known == again.read
    assert held(empty.store) == before
    with empty.store.read() as unit:
        assert unit.history.last_seq() == written


def test_an_export_into_the_shop_that_made_it_adds_nothing(filled, out):
    before = held(filled.store)
    assert sum(filled.take(out).added.values()) == 0
    assert held(filled.store) == before


@pytest.mark.parametrize("form", FORMATS)
def test_a_dry_run_counts_as_the_import_does_and_writes_nothing(empty, out, form):
    before = held(empty.store)
    dry = empty.take(out, form, dry=True)
    assert held(empty.store) == before
    assert not empty.photos.exists()
    real = empty.take(out, form)
    assert (dry.read, dry.added, dry.refused) == (real.read, real.added, real.refused)


def test_new_jobs_are_numbered_after_those_that_came_in(filled, empty, out):
    with filled.store.write("Ines", held(filled.store)[0]["history"][0]["at"]) as unit:
        unit.jobs.next_id()
    filled.export(out.with_name("later"))
    empty.take(out.with_name("later"))
    with empty.store.write("Ines", held(filled.store)[0]["history"][0]["at"]) as unit:
        assert unit.jobs.next_id() == "J000003"


def test_an_import_that_adds_something_is_one_line_of_history(empty, out):
    empty.take(out)
    with empty.store.read() as unit:
        told = [row for row in unit.history.since(0) if row.job_id is None and row.verb == "import"]
    assert [row.what for row in told] == ["4 jobs from out"]


def test_an_export_that_breaks_off_loads_nothing_unless_that_is_wanted(empty, out):
    text = (out / "shop.jsonl").read_text("utf-8")
    (out / "shop.jsonl").write_text(text[: len(text) // 2], "utf-8")
    with pytest.raises(ExchangeError, match="breaks off"):
        empty.take(out)
    assert held(empty.store)[1] == ()
    taken = empty.take(out, incomplete=True)
    assert 0 < taken.added["jobs"] < 4


def test_a_line_that_was_taken_out_is_missed(empty, out):
    with_lines(out, lambda line: None if line.get("job", {}).get("id") == "J900004" else line)
    with pytest.raises(ExchangeError, match="expected 4 records of jobs"):
        empty.take(out)
    assert held(empty.store)[1] == ()


def test_the_rest_of_an_export_is_added_later_with_its_history(filled, empty, out):
    whole = (out / "shop.jsonl").read_bytes()
    with_lines(out, lambda line: None if line.get("job", {}).get("id") == "J900004" else line)
    empty.take(out, incomplete=True)
    (out / "shop.jsonl").write_bytes(whole)
    assert empty.take(out).added == {"jobs": 1}
    there, here = held(filled.store), held(empty.store)
    assert here[1] == there[1]
    assert sorted(map(repr, here[0]["history"])) == sorted(map(repr, there[0]["history"]))


def test_words_that_contradict_those_of_the_shop_load_nothing(empty, out):
    def change(line):
        return line | {"merged_into": "no_such"} if line["record"] == "shop_terms" else line

    with_lines(out, change)
    with pytest.raises(VocabularyError):
        empty.take(out)
    assert held(empty.store)[1] == ()


def test_jobs_without_a_line_of_history_get_one(empty, tmp_path):
    folder = tmp_path / "written"
    folder.mkdir()
    shop = Place(tmp_path / "other")
    with shop.store:
        shop.put(a_case("J900001"))
        shop.export(tmp_path / "out", "cases")
    text = (tmp_path / "out" / "cases" / "J900001.md").read_text("utf-8")
    (folder / "by hand.md").write_text(text, "utf-8")
    assert empty.take(folder).added == {"jobs": 1}
    with empty.store.read() as unit:
        assert [row.verb for row in unit.history.of("J900001")] == ["import"]
        assert unit.jobs.get("J900001") == a_case("J900001")
