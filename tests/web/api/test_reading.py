import shutil
import sqlite3
from datetime import UTC, datetime

import pytest

from tests.web.api.conftest import CLOSING, Program, problem
from tests.web.test_report import KEYS


def test_a_search_has_the_names_of_the_terminal(standing):
    told = standing.told("/find?text=no+crank,+no+click&vehicle=2016+Pellarin+Copse&top=2")
    assert KEYS[""] <= set(told)
    assert told["matches"][0]["case"] == "S3"
    assert len(told["matches"]) <= 2
    assert told["causes"][0]["cause"] == "starter_worn"


def test_a_search_in_an_empty_shop_finds_nothing_and_is_no_fault(site):
    with site.store.write("Ines", datetime.now(UTC)) as unit:
        unit.connection.exec_driver_sql("DELETE FROM jobs")
    told = Program(site).told("/find?text=no+crank")
    assert (told["matches"], told["nothing_like_it"]) == ([], True)


@pytest.mark.parametrize("text", ["'; DROP TABLE jobs; --", '"*" NEAR(', "%", "\u202e\u0301" * 99])
def test_hostile_words_are_searched_as_words(standing, text):
    answer = standing.get("/find", query_string={"text": text})
    assert answer.status_code == 200


def test_a_week_has_the_names_of_the_terminal(program):
    told = program.told("/week?week=2026-W18")
    assert (told["week"], told["monday"], told["jobs"]) == ("2026-W18", "2026-04-27", 0)
    assert {"first", "rows", "decisions", "running", "made", "cases"} <= set(told)


def test_a_week_that_is_being_counted_is_asked_for_again(program, monkeypatch):
    monkeypatch.setattr("web.api.reading.counted", lambda _: None)
    answer = program.get("/week")
    assert answer.status_code == 202
    assert answer.json["counting"] is True
    assert int(answer.headers["Retry-After"]) > 0


@pytest.mark.parametrize("week", ["1999-W01", "2199-W01"])
def test_a_week_that_the_shop_does_not_have_is_told(standing, week):
    assert week in problem(standing.get(f"/week?week={week}"), 404)["detail"]


def test_a_week_that_no_calendar_has_is_told(standing):
    problem(standing.get("/week?week=2026-W60"), 422)


# --- what changed --------------------------------------------------------------------------------


def test_what_changed_is_told_once_each_in_order(site, program):
    job = program.opened("noise", invoice="R1")
    program.send("/closings", {"invoice": "R1", **CLOSING})
    seen, since = [], "0"
    while True:
        told = program.told(f"/changes?since={since}&limit=2")
        seen += told["changes"]
        since = told["next"]
        if not told["more"]:
            break
    assert [(row["job"], row["verb"]) for row in seen] == [
        ("S1", "import"), ("S2", "import"), ("S3", "import"), (job, "open"), (job, "close"),
    ]  # fmt: skip
    assert [row["seq"] for row in seen] == sorted({row["seq"] for row in seen})
    assert seen[-1]["who"] == "billing (program)"
    assert seen[-1]["at"].endswith("Z")
    nothing = program.told(f"/changes?since={since}")
    assert nothing == {"changes": [], "next": since, "more": False}
    program.send("/jobs", {"text": "no crank"})
    (fresh,) = program.told(f"/changes?since={since}")["changes"]
    assert fresh["what"] == "no crank"


def test_what_changed_about_people_and_tokens_is_told_to_no_program(site, program):
    site.write(lambda unit: unit.people.add("Ines Holm", "owner"))
    verbs = {row["verb"] for row in program.told("/changes?limit=500")["changes"]}
    assert verbs == {"import"}


def test_a_place_that_the_history_no_longer_holds_is_refused(site, program, tmp_path):
    before = tmp_path / "before.db"
    at_first = program.told("/changes")["next"]
    with sqlite3.connect(site.home / "baybook.db") as live, sqlite3.connect(before) as copy:
        live.backup(copy)
    live.close()
    copy.close()
    program.opened("lost in the restore")
    lost = program.told("/changes")["next"]
    # Restored from a backup, and written anew: the same numbers now stand for other lines.
    site.store.close()
    site.app.extensions["baybook"].store.close()
    database = site.home / "baybook.db"
    for beside in ("-wal", "-shm"):
        database.with_name(database.name + beside).unlink(missing_ok=True)
    shutil.copy(before, database)
    assert program.told(f"/changes?since={at_first}")["changes"] == []
    told = problem(program.get(f"/changes?since={lost}"), 410)
    assert "begin again" in told["detail"]
    program.opened("another one")
    problem(program.get(f"/changes?since={lost}"), 410)
    assert len(program.told(f"/changes?since={at_first}")["changes"]) == 1


def test_a_change_by_a_person_is_told_too(site, program):
    since = program.told("/changes")["next"]
    job = site.opened("noise")
    (row,) = program.told(f"/changes?since={since}")["changes"]
    assert (row["job"], row["who"], row["verb"]) == (job, "shop", "open")


# --- words ---------------------------------------------------------------------------------------


def test_the_keys_that_bodies_may_name_are_told(standing):
    told = standing.told("/words")
    causes = {row["key"]: row for row in told["causes"]}
    assert causes["condenser_fan_dead"]["system"] == "hvac"
    checks = {row["key"]: row for row in told["checks"]}
    assert "no_change" in checks["condenser_air_boost"]["outcomes"]
    assert checks["look_over"]["subject"] == "part"
    quantities = {row["key"]: row for row in told["quantities"]}
    assert "degF" in quantities["vent_temp"]["units"]
    assert {"seen", "measured_out"} <= {row["key"] for row in told["proof_methods"]}
    assert {"fixed", "no_fault_found"} <= {row["key"] for row in told["ends"]}
    assert "same_readings" in {row["key"] for row in told["after_checks"]}
