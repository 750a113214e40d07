import pytest

from kb.errors import StoreError
from kb.store.columns import table_of
from kb.store.exported import DECISIONS, HISTORY, PEOPLE, SHOP_TERMS
from kb.store.tables import JobRow, SymptomRow
from kb.store.whole_shop import KeptJob
from tests.factories import a_case, a_job
from tests.whole_shop import NOW, fill


@pytest.fixture
def filled(store, tmp_path):
    fill(store, tmp_path / "photos")
    return store


def test_jobs_come_in_the_order_asked_for_with_all_that_lies_beside_them(filled):
    with filled.read() as unit:
        kept, damaged = unit.whole.jobs(["J900004", "J000001"])
    assert ([row.job.id for row in kept], damaged) == (["J900004", "J000001"], ())
    assert [row["word"] for row in kept[0].beside["unread_words"]] == ["+plus", "blorp"]
    assert kept[1].revision == 2
    assert kept[1].beside["earlier_states"][0]["revision"] == 1
    assert "job_id" not in kept[1].beside["earlier_states"][0]


def test_damaged_jobs_are_named_and_the_others_come(filled):
    with filled.write("Ines", NOW) as unit:
        jobs, symptoms = table_of(JobRow), table_of(SymptomRow)
        run = unit.connection.execute
        run(jobs.update().where(jobs.c.id == "J900003").values(system="brakes"))
        run(symptoms.update().where(symptoms.c.job_id == "J900004").values(polarity="maybe"))
    with filled.read() as unit:
        kept, damaged = unit.whole.jobs(["J000001", "J900003", "J900004"])
    assert [row.job.id for row in kept] == ["J000001"]
    assert damaged == ("J900003", "J900004")


def test_rows_come_without_what_stays_behind(filled):
    with filled.read() as unit:
        (person,) = unit.whole.rows(PEOPLE)
        assert person == {"name": "Ines", "role": "owner", "active": False, "created": NOW}
        assert [row["key"] for row in unit.whole.known(SHOP_TERMS, [["cause", "x"]])] == [
            "own_cause"
        ]
        assert list(unit.whole.known(SHOP_TERMS, [["check", "x"]])) == []


def test_lines_of_no_job_are_stray(filled):
    with filled.write("Ines", NOW) as unit:
        unit.history.add("gone", "J404", "")
    with filled.read() as unit:
        stray = list(unit.whole.stray_history())
        assert {row["job_id"] for row in stray} == {None, "J404"}
        assert len(stray) < len(list(unit.whole.rows(HISTORY)))


def test_jobs_are_added_as_they_were_and_the_closed_ones_have_a_new_state(store):
    before = store.state()
    kept = KeptJob(
        job=a_case("J1", invoice="12"), revision=4, beside={"settled_pieces": [{"text": "x"}]}
    )
    with store.write("Ines", NOW) as unit:
        unit.whole.add_jobs([kept])
        unit.whole.add_jobs([])
    with store.read() as unit:
        assert unit.whole.jobs(["J1"]) == ((kept,), ())
        assert unit.history.of("J1") == ()
        assert unit.jobs.verify_hashes() == ()
        assert unit.whole.invoices(["12", "13"]) == {"12"}
    assert store.state() != before


def test_numbers_go_on_after_those_that_came_and_never_back(store):
    row = {
        "id": 7, "week": "2026-W19", "row_key": "", "said": "", "what": "", "owner": "",
        "due": NOW.date(), "state": "open", "outcome": "", "at": NOW, "who": "", "settled_at": None,
    }  # fmt: skip
    with store.write("Ines", NOW) as unit:
        unit.whole.add_rows(DECISIONS, [row])
        unit.whole.count_on(41, (DECISIONS,))
        unit.whole.count_on(5, (DECISIONS,))
        assert unit.jobs.next_id() == "J000042"
        assert unit.whole.last_job() == 42
    with store.read() as unit:
        assert unit.decisions.get(7).at == NOW


def test_a_unit_that_reads_writes_nothing(store):
    with store.read() as unit, pytest.raises(StoreError, match=r"Store\.write"):
        unit.whole.add_jobs([KeptJob(job=a_job(), revision=1)])
    with store.read() as unit, pytest.raises(StoreError, match=r"Store\.write"):
        unit.whole.count_on(1, ())
