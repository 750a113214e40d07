from datetime import timedelta

from kb.store.reviews import CLAIM_LIFE
from tests.kb.store.other_process import NOW

WEEK = "2026-W47"


def claim(store, at=NOW, **options):
    with store.write("x", at) as unit:
        return unit.reviews.claim(WEEK, **options)


def keep(store, claimed, body="{}", at=NOW):
    with store.write("x", at) as unit:
        return unit.reviews.keep(WEEK, claimed, body)


def kept(store):
    with store.read() as unit:
        return unit.reviews.get(WEEK)


def test_one_claims_a_week_and_the_next_does_not(store):
    first = claim(store)
    assert first
    assert claim(store) is None
    assert kept(store) is None
    assert keep(store, first, "[1]")
    assert kept(store).body == "[1]"
    assert claim(store) is None
    with store.read() as unit:
        assert unit.reviews.weeks() == (WEEK,)


def test_a_claim_of_a_process_that_died_is_taken_over(store):
    first = claim(store)
    second = claim(store, NOW + CLAIM_LIFE + timedelta(seconds=1))
    assert second
    assert second != first
    assert not keep(store, first)
    assert keep(store, second)


def test_a_claim_of_a_clock_that_was_set_back_is_taken_over(store):
    assert claim(store, NOW + timedelta(days=365))
    assert claim(store, NOW)


def test_of_two_who_claim_at_nearly_one_moment_one_does(store):
    assert claim(store, NOW + timedelta(milliseconds=300))
    assert claim(store, NOW) is None


def test_a_counted_week_is_counted_anew_when_told(store):
    keep(store, claim(store))
    later = NOW + timedelta(hours=1)
    again = claim(store, later, anew=True)
    assert again
    assert kept(store).body == "{}"
    assert claim(store, later + timedelta(seconds=1), anew=True) is None
    assert keep(store, again, "[2]", later + timedelta(seconds=2))
    assert kept(store).body == "[2]"


def test_a_claim_that_is_given_back_is_free_at_once(store):
    first = claim(store)
    with store.write("x", NOW) as unit:
        assert not unit.reviews.release(WEEK, "another")
        assert unit.reviews.release(WEEK, first)
    assert kept(store) is None
    assert not keep(store, first)
    assert claim(store)


def test_a_claim_to_count_anew_that_is_given_back_leaves_what_was_kept(store):
    keep(store, claim(store), "[1]")
    later = NOW + timedelta(hours=1)
    again = claim(store, later, anew=True)
    with store.write("x", later) as unit:
        assert unit.reviews.release(WEEK, again)
    assert kept(store).body == "[1]"
    assert claim(store, later) is None
    assert claim(store, later, anew=True)
