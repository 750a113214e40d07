from datetime import UTC, datetime

import pytest

from kb.case.iso_week import IsoWeek
from kb.case.terms import load_vocabulary
from kb.workflow.review import Review
from kb.workflow.week.rows import KINDS, Level, WeekRow
from web.week_page import OPEN_CASES, TOPIC_NAMES, Shown, ShownTopic, paper_rows, topics
from web.week_words import rows as said_rows
from web.week_words.said import Said

WORDS = load_vocabulary()


def a_row(kind="kept", subject=(), **known):
    return WeekRow(kind=kind, subject=subject, **known)


def a_review(*rows):
    """Return the review of a week that holds these rows."""
    return Review(
        week=IsoWeek.parse("2026-W47"),
        made_at=datetime(2026, 11, 23, 7, tzinfo=UTC),
        jobs=12,
        cases=9,
        rows=tuple(sorted(rows, key=lambda row: row.place)),
    )


@pytest.fixture
def every_kind(monkeypatch):
    """Let every kind of row be said by its own key."""
    monkeypatch.setattr(
        said_rows, "SAY", dict.fromkeys(KINDS, lambda row, words: Said(what=f"{row.key}."))
    )


def test_every_kind_belongs_to_one_topic_and_topics_stand_in_the_order_of_their_kinds():
    kinds = [kind for _, kinds in TOPIC_NAMES for kind in kinds]
    assert sorted(kinds) == sorted(KINDS)
    places = [min(map(KINDS.index, kinds)) for _, kinds in TOPIC_NAMES]
    assert places == sorted(places)


@pytest.mark.usefixtures("every_kind")
def test_what_is_not_for_a_decision_stands_by_topic_and_no_topic_is_empty():
    review = a_review(
        *(a_row("old_job", (str(at),), level=Level.LOOK, strength=-at) for at in range(5)),
        a_row("slow_check"),
        a_row("check_paid"),
    )
    found = topics(review, WORDS)
    rows = [one.row.key for topic in found for one in topic.rows]
    assert sorted(rows) == sorted(row.key for row in review.rest)
    assert [topic.name for topic in found][-1] == "Checks"
    assert [one.said.what for one in found[-1].rows] == ["check_paid.", "slow_check."]


def test_a_row_has_a_place_on_the_page_whatever_signs_its_key_holds():
    one, other = (
        Shown(row=a_row(subject=(name,)), said=Said(what="x")) for name in ("a b:ü", "a b:ö")
    )
    assert one.anchor != other.anchor
    assert one.anchor.replace("-", "").isalnum()


def test_the_first_cases_stand_open_and_none_is_lost():
    ids = tuple(f"J{at}" for at in range(11))
    one = Shown(row=a_row(cases=ids), said=Said(what="x"))
    assert len(one.open_cases) == OPEN_CASES
    assert one.open_cases + one.folded_cases == ids


def test_every_kind_of_row_can_be_said():
    assert set(said_rows.SAY) == set(KINDS)


def a_topic(count, words=20):
    said = Said(what="x" * words)
    return ShownTopic(name="x", rows=tuple(Shown(row=a_row(), said=said) for _ in range(count)))


def test_the_more_rows_there_are_the_fewer_of_each_topic_are_printed():
    assert paper_rows([a_topic(3)]) > 3
    many = [a_topic(20, words=100) for _ in range(20)]
    assert 1 < paper_rows(many) < paper_rows(many[:8])
    assert paper_rows([a_topic(20, words=900) for _ in range(20)]) == 1
