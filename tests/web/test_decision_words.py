from datetime import UTC, date, datetime
from typing import Any

import pytest

from kb.case.terms import load_vocabulary
from kb.store.decisions import About, Decision, Plan
from kb.workflow.decisions import DecidedBefore
from kb.workflow.week.rows import WeekRow
from web.decision_words import decided_json, decided_lines, decision_said, kept_sentence
from web.week_words.rows import SAY
from web.week_words.said import Said

WORDS = load_vocabulary()
AT = datetime(2026, 11, 16, 12, 0, tzinfo=UTC)
ROW = WeekRow(kind="came_back", subject=("hvac",))


def shown(*, numbers="4 of 30", now=ROW, compared=True, overdue=False, **changes):
    fields: dict[str, Any] = {
        "id": 3,
        "about": About(
            week="2026-W46", row_key=ROW.key, said=kept_sentence(Said(what="X.", numbers=numbers))
        ),
        "plan": Plan(what="Look", owner="Mara", due=date(2026, 11, 20)),
        "state": "open",
        "outcome": "",
        "at": AT,
        "who": "Ines",
        "settled_at": None,
    }
    decision = Decision(**(fields | changes))
    return DecidedBefore(decision=decision, overdue=overdue, compared=compared, now=now)


@pytest.fixture
def saying(monkeypatch):
    """Return a function that lets the row of today say these numbers."""

    def set_to(numbers):
        monkeypatch.setitem(SAY, "came_back", lambda _row, _words: Said(what="X.", numbers=numbers))

    return set_to


@pytest.mark.parametrize(
    ("then", "now", "said"),
    [
        ("4 of 30", "7 of 28", "still there. Then: 4 of 30. Now: 7 of 28"),
        ("4 of 30", "4 of 30", "still there, with the same numbers"),
        ("", "7 of 28", "still there. 7 of 28"),
        ("4 of 30", "", "still there"),
    ],
)
def test_a_row_that_is_still_there_says_then_and_now(saying, then, now, said):
    saying(now)
    assert decision_said(shown(numbers=then), WORDS).now == said


def test_a_row_that_is_gone_or_not_compared_says_so_or_nothing():
    assert decision_said(shown(now=None), WORDS).now == "gone from this week's list"
    assert decision_said(shown(now=None, compared=False), WORDS).now == ""


def test_cars_that_left_with_a_danger_are_not_said_to_be_gone_from_the_list():
    about = About(week="2026-W46", row_key="safety:week", said="1 car left.")
    for now in (None, ROW):
        told = decision_said(shown(now=now, about=about), WORDS).now
        assert told.endswith("still not done stand under Safety")
    assert decision_said(shown(compared=False, about=about), WORDS).now == ""


def test_how_it_stands_is_said_with_owner_and_day():
    done = {"state": "done", "outcome": "a loose clamp", "settled_at": AT}
    dropped = {"state": "dropped", "settled_at": AT}
    rows = (shown(now=None), shown(overdue=True, now=None), shown(now=None, **done))
    said = [decision_said(row, WORDS).how for row in (*rows, shown(now=None, **dropped))]
    assert said == [
        "open: Mara, by 2026-11-20",
        "overdue: Mara, was due 2026-11-20",
        "done on 2026-11-16 (Mara): a loose clamp",
        "dropped on 2026-11-16 (Mara)",
    ]


def test_the_terminal_and_json_say_the_same(saying):
    saying("7 of 28")
    row = shown(overdue=True)
    assert decided_lines([row], WORDS) == [
        "Decided:",
        "- Look [overdue: Mara, was due 2026-11-20]",
        "  about 2026-W46: X.",
        "  still there. Then: 4 of 30. Now: 7 of 28",
    ]
    (told,) = decided_json([row], WORDS)
    assert told == {
        "number": 3,
        "week": "2026-W46",
        "row": "came_back:hvac",
        "said": "X.\n4 of 30",
        "what": "Look",
        "owner": "Mara",
        "due": "2026-11-20",
        "state": "open",
        "outcome": "",
        "overdue": True,
        "now": "still there. Then: 4 of 30. Now: 7 of 28",
    }
    assert decided_lines([], WORDS) == []
