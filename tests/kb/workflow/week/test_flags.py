import pytest

from kb.workflow.week.flags import Flag, flagged, flags_of, strength
from kb.workflow.week.rows import Level


def standing(now, past, weeks=100):
    """Return how one row stands; ``past`` holds its flag by how many weeks ago."""

    def reviewed(ago):
        return {"a": past[ago]} if ago in past else {}

    return flags_of({"a": now}, reviewed, weeks=weeks)["a"]


def test_a_row_is_news_when_no_review_of_the_last_eight_had_it():
    assert standing("watch", {}) == Flag(name="watch", since=0, new=True)
    assert standing("watch", {9: "watch"}).new
    assert not standing("watch", {8: "watch"}).new
    assert standing("watch", {}).level is Level.LOOK
    assert standing("alert", {}).level is Level.ACT


def test_a_row_that_lasts_is_good_to_know_until_it_turns_firm():
    lasting = standing("watch", {1: "watch", 2: "watch"})
    assert (lasting.since, lasting.level) == (2, Level.KNOW)
    firmer = standing("alert", {1: "watch"})
    assert (firmer.since, firmer.level) == (1, Level.ACT)
    weaker = standing("watch", {3: "alert"})
    assert weaker.level is Level.KNOW


def test_the_beginning_is_found_behind_the_eight_reviews():
    every = dict.fromkeys(range(1, 15), "watch")
    assert standing("watch", every).since == 14
    assert standing("watch", {**every, 20: "watch"}).since == 14
    assert standing("watch", dict.fromkeys(range(1, 60), "watch")).since == 26


def test_nothing_is_asked_of_weeks_before_the_first():
    asked = []

    def reviewed(ago):
        asked.append(ago)
        return {"a": "watch"}

    assert flags_of({"a": "watch"}, reviewed, weeks=4)["a"].since == 3
    assert asked == [1, 2, 3]
    assert flags_of({}, reviewed, weeks=9) == {}


def test_only_flags_are_kept_and_small_chances_are_strong():
    assert flagged([("a", ""), ("b", "watch")]) == {"b": "watch"}
    assert strength(0.001) == pytest.approx(3)
    assert strength(None) == 0
    assert strength(0.0) == pytest.approx(300)
