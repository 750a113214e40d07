import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import insert

from kb.case.model import Finding, JobState
from kb.case.shop_rows import ShopTerm
from kb.errors import ConflictError, NotFoundError, StoreError
from kb.store.shop_tables import ShopTermRow, UnreadRow
from tests.factories import a_case, a_job
from tests.kb.store.other_process import NOW

ROOT = Path(__file__).parents[3]
CAUSE = ShopTerm(kind="cause", key="flap_worn", name="Flap worn", body={"system": "hvac"})


def written(store, verb, *args, **known):
    with store.write("Ines", NOW) as unit:
        getattr(unit.terms, verb)(*args, **known)


def rows(store, kind=None):
    with store.read() as unit:
        return unit.terms.rows(kind)


def lines(store):
    with store.read() as unit:
        return [(row.who, row.verb, row.job_id, row.what) for row in unit.history.since(0)]


def state(store):
    with store.read() as unit:
        return unit.terms.state()


def test_a_term_is_kept_as_it_was_added_with_who_added_it(store):
    written(store, "add", CAUSE)
    (found,) = rows(store)
    assert found == ShopTerm(
        kind="cause", key="flap_worn", name="Flap worn", body={"system": "hvac"}, who="Ines"
    )
    assert rows(store, "check") == ()


def test_the_same_key_may_stand_once_in_each_kind(store):
    written(store, "add", CAUSE)
    with pytest.raises(ConflictError, match="which the shop has already"):
        written(store, "add", CAUSE)
    written(store, "add", ShopTerm(kind="family", key="flap_worn", name="Flap worn"))
    assert [row.kind for row in rows(store)] == ["cause", "family"]


def test_a_kind_that_nobody_knows_is_refused(store):
    with pytest.raises(StoreError, match="expected a kind out of"):
        written(store, "add", ShopTerm(kind="rumour", key="x", name="x"))


def test_every_write_is_one_line_of_history_and_another_state(store):
    states = [state(store)]
    steps = [
        ("add", (CAUSE,), {}),
        ("change", (ShopTerm(kind="cause", key="flap_worn", name="Flap is worn"),), {}),
        ("merge", (CAUSE, "condenser_fan_dead"), {}),
        ("merge", (CAUSE, None), {}),
        ("take_out", (CAUSE,), {}),
        ("take_out", (CAUSE,), {"back": True}),
    ]
    for verb, args, known in steps:
        written(store, verb, *args, **known)
        states.append(state(store))
    assert len(set(states)) == len(steps) + 1
    assert states[0] == ""
    assert [line[1] for line in lines(store)] == [
        "add cause", "change cause", "merge cause", "part cause", "take out cause",
        "put back cause",
    ]  # fmt: skip
    assert {line[0] for line in lines(store)} == {"Ines"}
    assert all(line[2] is None and "flap_worn" in line[3] for line in lines(store))
    (left,) = rows(store)
    assert (left.name, left.merged_into, left.out_of_use) == ("Flap is worn", None, False)


def test_a_merged_term_keeps_its_name_and_its_body(store):
    written(store, "add", CAUSE)
    written(store, "merge", CAUSE, "condenser_fan_dead")
    (found,) = rows(store)
    assert (found.name, found.body["system"]) == ("Flap worn", "hvac")
    assert found.merged_into == "condenser_fan_dead"


def test_a_term_that_ships_gets_a_row_when_it_is_merged_or_taken_out(store):
    written(store, "merge", ShopTerm(kind="cause", key="overcharge", name="Overcharge"), "x")
    written(store, "take_out", ShopTerm(kind="cause", key="air_in_circuit", name="Air"))
    first, second = rows(store)
    assert (first.key, first.out_of_use) == ("air_in_circuit", True)
    assert (second.key, second.merged_into) == ("overcharge", "x")


def test_a_change_of_what_is_not_there_is_refused(store):
    with pytest.raises(NotFoundError, match="expected a cause that the shop added"):
        written(store, "change", CAUSE)


def test_a_body_that_is_no_json_object_is_named(store):
    with store.write("x", NOW) as unit:
        values = {"kind": "cause", "key": "k", "name": "k", "body": "[1]", "at": NOW, "who": "x"}
        unit.connection.execute(insert(ShopTermRow).values(values))
    with pytest.raises(StoreError, match="cause 'k' with a JSON object"):
        rows(store)


@pytest.mark.parametrize(
    "name",
    ["'; DROP TABLE shop_terms; --", '<script>alert("x")</script>', "Größe ★ 日本", "a]]\n="],
)
def test_names_come_back_as_they_were_written(store, name):
    written(store, "add", ShopTerm(kind="synonym", key=name, name=name, body={"what": name}))
    (found,) = rows(store, "synonym")
    assert (found.key, found.name, found.body["what"]) == (name, name, name)


def test_a_unit_that_only_reads_cannot_write_a_term(store):
    with store.read() as unit, pytest.raises(StoreError, match="expected Store"):
        unit.terms.add(CAUSE)


def test_jobs_are_counted_by_the_cause_that_was_written(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_case("J1"), a_case("J2"), a_case("J3", "overcharge")], verb="import")
        unit.jobs.add(a_job("J4"), verb="open")
    with store.read() as unit:
        assert unit.terms.counts("cause") == {"condenser_fan_dead": 2, "overcharge": 1}
        with pytest.raises(StoreError, match="expected one of cause"):
            unit.terms.counts("family")


def test_jobs_are_counted_as_they_stand_whatever_was_counted_before(store):
    def seen():
        with store.read() as unit:
            return unit.terms.counts("check")

    def write(job):
        with store.write("x", NOW) as unit:
            unit.jobs.save(job, verb="change")
            return unit.terms.counts("check")

    look = Finding(check="fan_command", outcome="runs")
    job, case = a_job("J1", findings=(look, look)), a_case("J2", findings=(look,))
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([job, case], verb="import")
    assert seen() == seen() == {"fan_command": 2}
    # Of an open job, whose writing leaves the state of the closed ones as it is.
    now = write(replace(job, findings=()))
    assert now == seen() == {"fan_command": 1}
    now = write(replace(case, findings=(look, replace(look, check="fan_direct"))))
    assert now == seen() == {"fan_command": 1, "fan_direct": 1}
    now = write(replace(case, state=JobState.OPEN, closing=None, findings=()))
    assert now == seen() == {}


def test_unread_words_come_with_their_jobs_and_the_last_of_them(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_job("J1"), a_job("J2")], verb="import")
        pairs = [("J1", "wuffles"), ("J2", "wuffles"), ("J1", "aardig")]
        rows_ = [{"job_id": job, "word": word, "at": NOW} for job, word in pairs]
        unit.connection.execute(insert(UnreadRow), rows_)
    with store.read() as unit:
        found = unit.terms.unread()
    assert found == {"wuffles": ("J1", "J2"), "aardig": ("J1",)}
    assert list(found) == ["wuffles", "aardig"]


@pytest.mark.slow
def test_a_term_that_another_process_adds_is_seen_by_one_already_running(store, store_url):
    before = state(store)
    command = [sys.executable, "-m", "tests.kb.store.other_process", "say_word", store_url]
    subprocess.run(command, cwd=ROOT, check=True, timeout=60, env=os.environ.copy())
    assert state(store) != before
    assert [row.key for row in rows(store)] == ["wuffles"]
