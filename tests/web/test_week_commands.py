from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from kb.case.iso_week import IsoWeek
from kb.store.engine import default_url, open_store
from tests.web.busy_week import keep_busy_week, says
from tests.web.test_cli import empty, terminal
from web.cli import main
from web.home import today
from web.layout import WIDTH
from web.week_words import rows as said_rows

__all__ = ["empty", "terminal"]

TOP = {
    "week", "monday", "sunday", "running", "made", "jobs", "cases", "first", "same_matter",
    "rows", "decisions",
}  # fmt: skip
ROW = {
    "key", "kind", "subject", "topic", "level", "strength", "numbers", "cases", "said",
}  # fmt: skip


@pytest.fixture
def newest():
    """Return the newest week that is over."""
    return IsoWeek.last_whole(today())


@pytest.fixture
def busy(terminal, newest, monkeypatch):
    """Return the terminal of a shop whose newest week holds every kind of row."""
    monkeypatch.setattr(said_rows, "SAY", says())
    with open_store(default_url(terminal.home)) as store:
        keep_busy_week(store, newest, ("S1", "S2", "S3"))
    return terminal


def test_the_newest_whole_week_is_counted_and_kept(terminal, newest):
    text = terminal.said("week")
    assert text.startswith(f"Week {newest}: Monday {newest.monday} to Sunday {newest.sunday}\n")
    assert "Jobs closed: 0, with a proven cause: 0. Counted " in text
    assert "Nothing in this week is firm enough for a decision." in text
    with open_store(default_url(terminal.home)) as store, store.read() as unit:
        assert unit.reviews.weeks() == (str(newest),)


def test_a_week_is_counted_once_and_again_when_told(terminal):
    first = terminal.told("week", "--json")["made"]
    assert terminal.told("week", "--json")["made"] == first
    assert terminal.told("week", "--json", "--again")["made"] > first


def test_a_week_reads_as_on_the_page_three_decisions_first_then_by_topic(busy):
    text = busy.said("week")
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    places = [lines.index(name) for name in ("For a decision", "What came back", "Checks")]
    assert places == sorted(places)
    assert [line[:3] for line in lines if line[:1] in "123" and line[1:3] == ". "] == [
        "1. ", "2. ", "3. ",
    ]  # fmt: skip
    assert "   of the same matter: Most of them on one model: 5 on Aldenroe Lintel" in text
    assert "   cases: S1 S2 S3" in text
    assert "   Talk about it on Monday" in text
    assert "  cases: S1 S2 S3" in text[text.index("What came back") :]


def test_the_week_as_json_has_the_stable_keys_that_the_help_names(busy, newest):
    told = busy.told("week", "--json")
    assert set(told) == TOP
    assert all(set(row) == ROW for row in told["rows"])
    assert all(set(row["said"]) == {"what", "numbers", "do"} for row in told["rows"])
    assert (told["week"], told["running"]) == (str(newest), False)
    keys = [row["key"] for row in told["rows"]]
    assert len(told["first"]) == 3
    assert set(told["first"]) < set(keys)
    (same,) = told["same_matter"].values()
    assert [key.partition(":")[0] for key in same] == ["rising_pair", "rising_complaint"]
    help_text = CliRunner().invoke(main, ["week", "--help"]).output
    for key in TOP | ROW:
        assert key in help_text


def test_the_running_week_is_named_so(terminal, newest):
    running = str(newest.shifted(1))
    assert f"Week {running}, still running: " in terminal.said("week", "--week", running)
    assert terminal.told("week", "--week", running, "--json")["running"] is True


def test_weeks_without_a_job_are_refused_in_plain_words(terminal, newest):
    ahead = terminal.said("week", "--week", str(newest.shifted(5)), code=1)
    assert "This week has not begun" in ahead
    assert "before the first job" in terminal.said("week", "--week", "1999-W01", code=1)
    assert "expected a week like 2026-W47" in terminal.said("week", "--week", "soon", code=1)


def test_a_shop_without_a_job_is_told_so(empty):
    assert "No job is written down yet" in empty.said("week", code=1)


def test_while_another_counts_the_command_says_so(terminal, newest):
    with (
        open_store(default_url(terminal.home)) as store,
        store.write("x", datetime.now(UTC)) as unit,
    ):
        assert unit.reviews.claim(str(newest))
    assert "got another who counts it now" in terminal.said("week", code=1)
