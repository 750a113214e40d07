import csv
import json

import pytest

from kb.case.casefile import write_case
from kb.store.columns import table_of
from kb.store.engine import default_url, open_store
from kb.store.tables import JobRow
from kb.workflow.exchange.give_out import FORMATS
from kb.workflow.exchange.schema import export_schema
from tests.factories import a_case, make_store
from tests.web.test_cli import Terminal
from tests.whole_shop import NOW, fill, held
from web.exchange_commands import _FORMS


def a_shop(folder):
    make_store(default_url(folder))
    return open_store(default_url(folder))


@pytest.fixture
def terminal(tmp_path, monkeypatch):
    home = tmp_path / "filled"
    with a_shop(home) as store:
        fill(store, home / "photos")
    monkeypatch.setenv("BAYBOOK_HOME", str(home))
    for name in ("BAYBOOK_DB", "BAYBOOK_ALTITUDE_M"):
        monkeypatch.delenv(name, raising=False)
    return Terminal(home)


@pytest.fixture
def moved(terminal, tmp_path, monkeypatch):
    """Return a new, empty shop, and an export of the filled one in the folder ``out``."""
    terminal.run("export", str(tmp_path / "out"))
    a_shop(tmp_path / "new").close()
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path / "new"))
    return Terminal(tmp_path / "new")


def test_the_forms_are_those_that_there_are():
    assert set(_FORMS) == set(FORMATS)


def test_an_export_says_what_went_out_and_what_did_not(terminal, tmp_path):
    text = terminal.said("export", str(tmp_path / "out"))
    assert "jobs: 4\n" in text
    assert "left out: passwords" in text
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "cases", "photos", "schema.json", "shop.jsonl", "tables",
    ]  # fmt: skip


def test_one_form_is_written_where_one_is_wanted(terminal, tmp_path):
    told = terminal.told("export", str(tmp_path / "out"), "--as", "csv", "--as", "csv", "--json")
    assert (told["counts"]["jobs"], told["damaged"], told["photos_gone"]) == (4, [], [])
    assert not (tmp_path / "out" / "cases").exists()


def test_the_schema_is_printed_without_a_shop(terminal, monkeypatch, tmp_path):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path / "nowhere"))
    assert terminal.told("export", "--schema") == export_schema()
    assert "expected FOLDER" in terminal.said("export", code=2)


def test_a_damaged_job_ends_an_export_with_trouble_and_is_named(terminal, tmp_path):
    with open_store(default_url(terminal.home)) as store, store.write("Ines", NOW) as unit:
        jobs = table_of(JobRow)
        unit.connection.execute(jobs.update().where(jobs.c.id == "J900004").values(system="x"))
    assert "job J900004 is damaged" in terminal.said("export", str(tmp_path / "out"), code=1)
    assert (tmp_path / "out" / "shop.jsonl").is_file()


@pytest.mark.parametrize("form", FORMATS)
def test_a_whole_shop_moves(moved, tmp_path, form):
    told = moved.told("import", str(tmp_path / "out"), "--as", form, "--json")
    assert (told["form"], told["refused"]) == (form, 0)
    assert told["records"]["jobs"] == {"read": 4, "added": 4, "known_before": 0}
    with (
        open_store(default_url(tmp_path / "filled")) as old,
        open_store(default_url(tmp_path / "new")) as new,
    ):
        assert held(new) == held(old)
    again = moved.told("import", str(tmp_path / "out"), "--as", form, "--json")
    assert (again["new"], again["records"]["jobs"]["known_before"]) == (0, 4)
    assert list((tmp_path / "new" / "photos").rglob("*.jpg"))


def test_a_dry_run_says_what_would_be_added_and_adds_nothing(moved, tmp_path):
    text = moved.said("import", str(tmp_path / "out"), "--dry-run")
    assert "jobs: 4 read, 0 added, 0 known before" in text
    assert "would be added, nothing was" in text
    with open_store(default_url(tmp_path / "new")) as store:
        assert held(store)[1] == ()


def test_refused_records_are_shown_and_written_beside(moved, tmp_path):
    lines = tmp_path / "out" / "shop.jsonl"
    lines.write_text(
        lines.read_text("utf-8").replace('"system": "hvac"', '"system": "=x"'), "utf-8"
    )
    text = moved.said("import", str(lines))
    assert "refused: " in text
    assert "shop.jsonl, line " in text
    with (tmp_path / "out" / "shop.refused.csv").open(encoding="utf-8", newline="") as stream:
        header, *rows = csv.reader(stream)
    assert header == ["file", "line", "reason"]
    assert any("job J900004" in row[2] for row in rows)


def test_a_broken_export_loads_nothing_and_says_how_to_load_what_is_there(moved, tmp_path):
    lines = tmp_path / "out" / "shop.jsonl"
    lines.write_bytes(lines.read_bytes()[:-200])
    text = moved.said("import", str(lines), code=1)
    assert "breaks off" in text
    with open_store(default_url(tmp_path / "new")) as store:
        assert held(store)[1] == ()
    assert "jobs: 4 read, 4 added" in moved.said("import", str(lines), "--incomplete")


def test_case_files_that_somebody_wrote_are_loaded(moved, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "fan.md").write_text(write_case(a_case("J900010")), "utf-8")
    assert "jobs: 1 read, 1 added" in moved.said("import", str(folder))
    assert moved.get("J900010") == a_case("J900010")


def test_a_table_of_work_orders_is_loaded_as_before(moved, tmp_path):
    table = tmp_path / "orders.csv"
    table.write_text("Day,Words\n2024-03-01,hose leaking\nsoon,no start\n", "utf-8")
    words = ("import", str(table), "--map", "text=Words", "--map", "date=Day")
    told = moved.told(*words, "--json")
    assert (told["read"], told["good"], told["added"], told["refused"]) == (2, 1, 1, 1)
    assert (tmp_path / "orders.refused.csv").is_file()
    assert "known before: 1" in moved.said(*words)
    assert "line 3" in moved.said(*words, "--dry-run")


@pytest.mark.parametrize(
    ("name", "words", "said"),
    [
        ("out", ["--map", "text=Words"], "leave --map out"),
        ("empty.csv", [], "expected a column for text and date"),
        ("filled", [], "expected an export"),
    ],
)
def test_what_cannot_be_taken_in_is_told_in_one_line(moved, tmp_path, name, words, said):
    (tmp_path / "empty.csv").write_text("")
    assert said in moved.said("import", str(tmp_path / name), *words, code=1)


def test_progress_goes_to_the_second_channel(moved, tmp_path):
    result = moved.run("import", str(tmp_path / "out"), "--json")
    assert json.loads(result.stdout)["refused"] == 0
    assert "reading jobs" in result.stderr
