"""Words bound to facts: contraries are told from the same said otherwise. Own examples."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.case import contraries
from kb.case.contraries import bind, contradictions, contrary_share

SWAPPED = (
    ("upper hose hot, lower hose cold", "upper hose cold, lower hose hot"),
    ("cold at idle, warm on the road", "warm at idle, cold on the road"),
    ("left low beam out, right works", "right low beam out, left works"),
    ("front pads worn, rear good", "rear pads worn, front good"),
    ("bank 1 lean, bank 2 rich", "bank 2 lean, bank 1 rich"),
    ("low side high, high side low", "low side low, high side high"),
    ("good before the filter, low after", "low before the filter, good after"),
    ("horn works, wipers don't", "wipers work, horn doesn't"),
    ("upstream switches, downstream steady", "upstream steady, downstream switches"),
    ("fan never comes on", "fan never shuts off"),
    ("window goes down, won't go up", "window goes up, won't go down"),
    ("no noise when turning left", "noise when turning left"),
    ("shakes at 60, smooth at 30", "shakes at 30, smooth at 60"),
)
ALIKE = (
    ("upper hose hot, lower hose cold", "top hose hot, bottom hose cold"),
    ("upper hose hot, lower hose cold", "lower hose cold, upper hose hot"),
    ("no noise when turning left", "quiet turning left"),
    ("front pads worn, rear good", "pads worn front, ok rear"),
    ("horn works, wipers don't", "wipers don't work, horn works"),
    ("hums on the road", "hums on the road"),
    ("won't lock", "stays unlocked"),
)
text = st.lists(
    st.sampled_from(
        ("hot", "cold", "hose", "left", "right", "not", ",", "but", "works", "dead", "3")
    )
).map(" ".join)


@pytest.mark.parametrize(("said", "contrary"), SWAPPED)
def test_swapped_facts_contradict(said, contrary):
    assert contradictions(bind(said), bind(contrary)) > 0


@pytest.mark.parametrize(("said", "alike"), ALIKE)
def test_the_same_facts_do_not(said, alike):
    assert contradictions(bind(said), bind(alike)) == 0


@given(text, text)
def test_contradictions_count_the_same_both_ways_and_none_with_oneself(first, second):
    there = contradictions(bind(first), bind(second))
    assert there == contradictions(bind(second), bind(first))
    assert contradictions(bind(first), bind(first)) == 0


def test_a_phones_apostrophe_is_one_and_a_decimal_point_ends_no_clause():
    assert bind("wipers don\u2019t move") == bind("wipers don't move")
    whole, _ = bind("battery 12.1 rest")
    assert whole.pairs["battery"] == {"12", "1", "rest"}


def test_a_word_is_bound_to_what_its_clause_names():
    whole, _ = bind("lower hose cold, upper hose hot")
    assert whole.ends["lower", "warmth"] == {1}
    assert whole.ends["hos", "warmth"] == {0, 1}


def test_a_negated_word_stands_at_the_other_end():
    whole, _ = bind("fan won't shut off")
    assert whole.ends["fan", "power"] == {0}


story = st.lists(text, max_size=4).map(". ".join) | st.sampled_from([*sum(SWAPPED, ()), ""])


@given(story, story)
def test_the_share_is_the_same_both_ways_and_however_long_the_text(first, second):
    share = contrary_share(first, second)
    assert share == contrary_share(second, first)
    assert 0 <= share < 1
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(contraries, "_MOST_KEPT", -1)
        contraries._asked.cache_clear()
        assert contrary_share(first, second) == share


@given(text, text)
def test_a_sentence_counts_by_all_its_contradictions(first, second):
    count = contradictions(bind(first), bind(second))
    share = contrary_share(first, second)
    assert (share > 0) <= (count > 0)
    if share:
        # c^2 (1 - 2^-n) with c at least the least cosine and at most 1.
        assert 0.35**2 * (1 - 0.5**count) <= share <= 1 - 0.5**count


def test_one_sentence_of_a_long_text_may_say_the_contrary():
    told = "Customer is in a hurry.\nUpper hose cold, lower hose hot; no codes. Belt looks new"
    assert contrary_share("upper hose hot, lower hose cold", told) > 0.5
    assert contrary_share("lower hose hot, upper hose cold", told) == 0


@pytest.mark.source("by hand", "all of 3 words in common: c = 1; one word apart: 1 - 2^-n")
def test_the_share_is_that_of_the_formula():
    n = contradictions(bind("left lamp out"), bind("right lamp out"))
    assert contrary_share("left lamp out", "right lamp out") == pytest.approx(
        (2 / 3) ** 2 * (1 - 0.5**n)
    )


def test_texts_about_other_things_do_not_contradict_each_other():
    assert contrary_share("fan works on high", "battery dead after a cold night, horn quiet") == 0
    assert contrary_share("", "fan works") == 0


@given(text, text)
def test_the_share_is_the_same_whichever_asks(first, second):
    assert contrary_share(first, second) == pytest.approx(contrary_share(second, first))


def test_a_hundred_thousand_letters_are_read_in_time():
    assert bind("no, " * 25_000)[0].pairs == {}
