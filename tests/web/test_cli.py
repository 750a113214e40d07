import json
import os
import subprocess
import sys
from datetime import UTC, date, datetime

import click
import pytest
from click.testing import CliRunner

from kb.errors import KBError
from kb.store.decisions import About, Plan
from kb.store.engine import default_url, open_store
from kb.store.notes import NoteText, Pattern
from tests.web.conftest import SEEDS, closed_case
from tests.web.test_report import KEYS
from web.cli import main

PROVEN = ["--cause", "condenser_fan_dead", "--proof", "seen:blades stand still at 12.4 V"]


class Terminal:
    """Runs commands in a shop of their own."""

    def __init__(self, home):
        self.home = home

    def run(self, *words, code=0):
        result = CliRunner().invoke(main, list(words))
        assert result.exit_code == code, result.output
        assert "Traceback" not in result.output
        if code:
            assert isinstance(result.exception, SystemExit)
        return result

    def said(self, *words, code=0):
        return self.run(*words, code=code).output

    def told(self, *words):
        return json.loads(self.run(*words).stdout)

    def opened(self, text="cold on the road, warm at lights", *words):
        return self.told("open", text, "--json", *words)["job"]

    def get(self, job_id):
        with open_store(default_url(self.home)) as store, store.read() as unit:
            return unit.jobs.get(job_id)


@pytest.fixture
def empty(tmp_path, monkeypatch):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path / "shop"))
    for name in ("BAYBOOK_DB", "BAYBOOK_ALTITUDE_M"):
        monkeypatch.delenv(name, raising=False)
    terminal = Terminal(tmp_path / "shop")
    terminal.run("init")
    return terminal


@pytest.fixture
def terminal(empty):
    with (
        open_store(default_url(empty.home)) as store,
        store.write("Ines", datetime(2026, 5, 4, tzinfo=UTC)) as unit,
    ):
        cases = [closed_case(key, *seed) for key, seed in SEEDS.items()]
        unit.jobs.add_many(cases, verb="import")
    return empty


# --- what the shop wrote ---------------------------------------------------------------------------


def write(terminal, verb):
    with (
        open_store(default_url(terminal.home)) as store,
        store.write("Ines", datetime(2026, 5, 4, tzinfo=UTC)) as unit,
    ):
        return verb(unit)


def test_notes_that_fit_stand_under_the_answers_a_line_each(terminal):
    note = NoteText(
        title="Clean the ground first", body="x", body_html="x", pattern=Pattern(make="Pellarin")
    )
    line = "Clean the ground first (from the shop: Ines, 2026-05-04)"
    car = ("--vehicle", "2016 Pellarin Copse")
    before = terminal.said("find", "no crank, no click", *car)
    write(terminal, lambda unit: unit.notes.add(note))
    found = terminal.said("find", "no crank, no click", *car)
    assert found == f"{before.rstrip()}\n\nShop notes\n----------\n{line}\n"
    job = terminal.opened("no crank, no click", *car)
    assert line in terminal.said("show", job).splitlines()
    assert line not in terminal.said("find", "no crank, no click")
    assert line not in terminal.said("show", "S1")


def test_a_week_lists_what_was_decided_before(terminal):
    about = About(week="2026-W01", row_key="came_back:hvac", said="Some came back.")
    plan = Plan(what="Look at them", owner="Mara", due=date(2026, 1, 9))
    assert "Decided:" not in terminal.said("week")
    assert terminal.told("week", "--json")["decisions"] == []
    write(terminal, lambda unit: unit.decisions.add(about, plan))
    text = terminal.said("week")
    assert "- Look at them [overdue: Mara, was due 2026-01-09]" in text.splitlines()
    (told,) = terminal.told("week", "--json")["decisions"]
    assert (told["what"], told["overdue"], told["now"]) == (
        "Look at them",
        True,
        "gone from this week's list",
    )


# --- find ----------------------------------------------------------------------------------------


def test_find_shows_what_was_understood_and_the_three_answers(terminal):
    text = terminal.said("find", "no crank, no click", "--vehicle", "2016 Pellarin Copse")
    for part in ("Understood", "Seen before", "S3", "Likely causes", "Next check"):
        assert part in text


def test_find_as_json_has_the_stable_keys_and_no_more_matches_than_asked_for(terminal):
    answer = terminal.told("find", "no crank", "--json", "--top", "2")
    assert set(answer) == KEYS[""]
    assert len(answer["matches"]) == 2
    assert answer["matches"][0]["case"] == "S3"


def test_find_answers_a_file_of_questions_a_line_each(terminal, tmp_path):
    file = tmp_path / "ask.jsonl"
    rows = [{"id": "q1", "ask": "no crank"}, {"id": 2, "ask": "warm", "vehicle": "2016 Pellarin"}]
    file.write_text("\n".join(map(json.dumps, rows)) + "\n\n")
    lines = [json.loads(line) for line in terminal.said("find", "--batch", str(file)).splitlines()]
    assert [line["id"] for line in lines] == ["q1", 2]
    assert all(set(line) == KEYS[""] | {"id"} for line in lines)


@pytest.mark.parametrize("text", ["{", "[1]"])
def test_a_line_that_is_no_object_is_named(terminal, tmp_path, text):
    file = tmp_path / "ask.jsonl"
    file.write_text('{"id": 1, "ask": "x"}\n' + text)
    assert "ask.jsonl, line 2: expected" in terminal.said("find", "--batch", str(file), code=1)


@pytest.mark.parametrize("words", [[], [""], ["  "]])
def test_find_without_a_question_says_what_it_expects(terminal, words):
    assert "expected TEXT or --batch FILE" in terminal.said("find", *words, code=2)


def test_find_in_a_shop_without_a_case_says_what_to_do(empty):
    assert "close a job" in empty.said("find", "no crank", code=1)


# --- open, add, show -----------------------------------------------------------------------------


def test_a_job_is_opened_added_to_and_shown(terminal):
    text = terminal.said(
        "open", "warm at lights", "--said", "It is warm.", "--vehicle", "2016 Copse"
    )
    assert text.startswith("job J000001")
    assert "Likely causes" in text
    assert "318 psi" in terminal.said("add", "J000001", "hi 318 psi")
    shown = terminal.said("show", "J000001")
    for part in ("It is warm.", "hi 318 psi", "Seen before"):
        assert part in shown


def test_the_first_job_of_a_new_shop_is_opened_without_answers(empty):
    assert "answers come with the first case" in empty.said("open", "no crank")
    assert empty.told("add", "J000001", "no click", "--json")["matches"] == []
    assert "no click" in empty.said("show", "J000001")


def test_the_same_number_gives_the_same_job(terminal):
    assert terminal.opened("warm", "--invoice", "7") == terminal.opened("warm", "--invoice", "7")


def test_show_as_json_gives_answers_for_an_open_job_and_the_cause_of_a_closed_one(terminal):
    job = terminal.opened()
    assert set(terminal.told("show", job, "--json")) == KEYS[""] | {"job", "state", "cause"}
    assert terminal.told("show", "S1", "--json") == {
        "job": "S1",
        "state": "closed",
        "cause": "condenser_fan_dead",
    }
    assert "Seen before" not in terminal.said("show", "S1")


@pytest.mark.parametrize(
    "words",
    [
        ["show", "J404"],
        ["add", "J404", "x"],
        ["close", "J404", *PROVEN],
        ["open", "x", "--comeback-of", "J404"],
    ],
)
def test_an_unknown_job_is_named_in_one_line(terminal, words):
    text = terminal.said(*words, code=1)
    assert text.startswith("Error: expected")
    assert "J404" in text
    assert len(text.splitlines()) == 1


@pytest.mark.parametrize("words", [["open", " "], ["add", "S1", "more"]])
def test_what_cannot_be_written_is_refused(terminal, words):
    assert "Error: expected" in terminal.said(*words, code=1)


# --- close ---------------------------------------------------------------------------------------


def test_a_job_closed_with_cause_and_proof_is_found_by_the_next_find(terminal):
    job = terminal.opened("zorble at the frunk")
    text = terminal.said(
        "close", job, *PROVEN, "--fix", "replaced", "--fix-text", "fan", "--after",
        "same_readings:hi 209", "--lesson", "Listen.", "--second-cause", "overcharge",
    )  # fmt: skip
    assert text == f"closed {job}: Condenser fan or one speed dead\n"
    assert terminal.told("find", "zorble", "--json")["matches"][0]["case"] == job
    closing = terminal.get(job).closing
    assert closing.second_cause == "overcharge"
    assert [(row.kind, row.text) for row in closing.after_checks] == [("same_readings", "hi 209")]


def test_what_was_said_of_the_job_is_kept_with_its_close(terminal):
    job = terminal.opened("cold on the road, warm at lights")
    terminal.said("close", job, *PROVEN)
    day = terminal.get(job).closing.closed
    with open_store(default_url(terminal.home)) as store, store.read() as unit:
        shown = unit.answers.closed(day, day)[job]
    assert shown.causes
    assert job not in shown.matches


def test_parts_and_the_end_of_a_work_around_are_kept(terminal):
    job = terminal.opened()
    terminal.said(
        "close", job, *PROVEN, "--end", "workaround", "--fix", "workaround", "--part",
        "fan, Northgate, 2631", "--part", "relay", "--until", "2031-09-30",
    )  # fmt: skip
    closing = terminal.get(job).closing
    assert [(row.part, row.supplier, row.lot) for row in closing.parts] == [
        ("fan", "Northgate", "2631"),
        ("relay", None, None),
    ]
    assert closing.until == date(2031, 9, 30)
    text = terminal.said("show", job)
    assert "fan, from Northgate, lot 2631" in text
    assert "2031-09-30" in text


@pytest.mark.parametrize("until", ["spring", "2020-01-01"])
def test_a_day_that_cannot_be_one_closes_nothing(terminal, until):
    job = terminal.opened()
    text = terminal.said("close", job, *PROVEN, "--end", "workaround", "--until", until, code=1)
    assert "expected a d" in text
    assert terminal.get(job).closing is None


def test_the_same_invoice_twice_makes_one_case(terminal):
    job = terminal.opened()
    first = terminal.said("close", job, *PROVEN, "--invoice", "501")
    closing = terminal.get(job).closing
    again = terminal.said("close", job, "--cause", "overcharge", "--end", "x", "--invoice", "501")
    assert again == first
    assert terminal.get(job).closing == closing
    assert "closed already" in terminal.said("close", job, *PROVEN, code=1)


@pytest.mark.parametrize(
    ("words", "missing"),
    [([], "cause and proof"), (PROVEN[:2], "proof"), (PROVEN[2:], "cause")],
)
def test_a_close_without_cause_or_proof_says_what_is_missing(terminal, words, missing):
    job = terminal.opened()
    text = terminal.said("close", job, *words, code=1)
    assert f"got none for {missing};" in text
    assert terminal.get(job).closing is None


def test_an_end_without_a_cause_says_how_it_ended(terminal):
    job = terminal.opened()
    assert terminal.said("close", job, "--end", "normal") == f"closed {job}: behaves as designed\n"


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--cause", "gremlins", *PROVEN[2:]], "gremlins"),
        ([*PROVEN, "--after", "hunch:x"], "hunch"),
        ([*PROVEN[:2], "--proof", "hunch:x"], "hunch"),
        (["--end", "lost"], "lost"),
    ],
)
def test_a_word_that_the_trade_does_not_know_is_named(terminal, words, part):
    job = terminal.opened()
    assert part in terminal.said("close", job, *words, code=1)
    assert terminal.get(job).closing is None


@pytest.mark.parametrize(
    ("words", "part"),
    [(["--proof", ":x"], "METHOD:words"), (["--fix", "prayed"], "replaced")],
)
def test_an_option_that_cannot_be_read_shows_how_to_write_it(terminal, words, part):
    assert part in terminal.said("close", terminal.opened(), *words, code=2)


# --- the whole -----------------------------------------------------------------------------------


def test_every_command_tells_what_it_does():
    commands = CliRunner().invoke(main, ["--help"]).output
    assert set(main.commands) == {
        "add", "backup", "close", "demo", "doctor", "export", "find", "import", "init", "measure",
        "move",
        "open", "pack", "rebuild", "restore", "serve", "show", "token", "unpack", "user", "week",
    }  # fmt: skip
    for name, command in main.commands.items():
        assert name in commands
        text = CliRunner().invoke(main, [name, "--help"]).output
        assert (command.help or "?").splitlines()[0][:40] in text
        options = [param for param in command.params if isinstance(param, click.Option)]
        assert all(option.help for option in options)


@pytest.mark.parametrize("words", [["find", "x"], ["open", "x"], ["show", "J1"], ["measure"]])
def test_a_shop_that_was_never_made_says_what_to_run(tmp_path, monkeypatch, words):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path))
    monkeypatch.delenv("BAYBOOK_DB", raising=False)
    text = Terminal(tmp_path).said(*words, code=1)
    assert text.startswith("Error: expected the shop's database")
    assert "baybook init" in text


def test_a_file_that_cannot_be_used_is_told_in_one_line(empty, monkeypatch):
    (empty.home / "file").write_text("")
    monkeypatch.setenv("BAYBOOK_HOME", str(empty.home / "file"))
    text = empty.said("init", code=1)
    assert text.startswith("Error: expected")
    assert len(text.splitlines()) == 1


def test_an_altitude_in_words_is_told_in_one_line(terminal, monkeypatch):
    monkeypatch.setenv("BAYBOOK_ALTITUDE_M", "a mile")
    assert "BAYBOOK_ALTITUDE_M in metres" in terminal.said("find", "x", code=1)


def test_an_error_is_never_swallowed(terminal, monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("a fault")

    monkeypatch.setattr("web.cli.draft_job", broken)
    result = CliRunner().invoke(main, ["find", "x"])
    assert isinstance(result.exception, RuntimeError)
    assert not isinstance(result.exception, KBError)


@pytest.mark.slow
def test_find_loads_no_page_no_migration_and_no_markdown(terminal):
    code = (
        "import sys; from web.cli import main; main(['find', 'no crank'], standalone_mode=False);"
        "print(sorted({m.split('.')[0] for m in sys.modules}"
        " & {'flask', 'werkzeug', 'jinja2', 'alembic', 'markdown', 'nh3', 'waitress', 'wtforms'}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env=os.environ, check=True, capture_output=True, text=True
    )
    assert done.stdout.splitlines()[-1] == "[]"
