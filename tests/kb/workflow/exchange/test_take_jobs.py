from dataclasses import replace

import pytest

from tests.factories import a_case, a_job
from tests.kb.workflow.exchange.conftest import Place
from tests.whole_shop import held


@pytest.fixture
def other(tmp_path):
    shop = Place(tmp_path / "other")
    with shop.store:
        yield shop


def test_a_job_that_the_shop_holds_in_another_state_is_refused_and_kept(other, empty, tmp_path):
    other.put(a_job("J1"), a_job("J2"))
    empty.put(a_case("J1"))
    other.export(tmp_path / "out", "jsonl")
    taken = empty.take(tmp_path / "out")
    assert [row.reason for row in taken.refused] == [
        "job J1: the shop holds another state of it; nothing was overwritten"
    ]
    with empty.store.read() as unit:
        assert unit.jobs.get("J1") == a_case("J1")
        assert unit.jobs.get("J2") == a_job("J2")
        assert len(unit.history.of("J1")) == 1


def test_an_invoice_number_that_another_job_has_is_refused(other, empty, tmp_path):
    other.put(a_job("J1", invoice="12"), a_job("J2", invoice="13"))
    empty.put(a_job("J9", invoice="12"))
    other.export(tmp_path / "out", "jsonl")
    assert "invoice number 12" in empty.take(tmp_path / "out").refused[0].reason
    assert [row.job.id for row in held(empty.store)[1]] == ["J2", "J9"]


@pytest.mark.parametrize(("first", "second"), [("id", "J1"), ("invoice", "12")])
def test_what_stands_twice_is_taken_once(other, empty, tmp_path, first, second):
    other.put(a_job("J1", invoice="12"), a_job("J2", invoice="13"))
    other.export(tmp_path / "out", "jsonl")
    path = tmp_path / "out" / "shop.jsonl"
    before = {"id": "J2", "invoice": "13"}[first]
    path.write_text(path.read_text("utf-8").replace(f'"{before}"', f'"{second}"'), "utf-8")
    taken = empty.take(tmp_path / "out")
    assert taken.added["jobs"] == 1
    assert taken.refused[0].reason.startswith("job ")


def test_a_job_with_a_word_that_nobody_knows_is_refused_and_no_other(other, empty, tmp_path):
    other.put(replace(a_case("J1"), system="no_such"), a_case("J2"))
    other.export(tmp_path / "out")
    for form in ("cases", "csv", "jsonl"):
        (row,) = empty.take(tmp_path / "out", form).refused
        assert "expected a system of the vocabulary, got 'no_such'" in row.reason
    assert [row.job.id for row in held(empty.store)[1]] == ["J2"]
