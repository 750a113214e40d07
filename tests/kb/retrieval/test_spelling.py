import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.learned import Learned
from kb.retrieval.spelling import fit_spelling, shortens, spelled_alike, spelled_words

TEXTS = [
    f"{verb} {side} {part} hose"
    for verb in ("replace", "repl", "inspect")
    for side in ("rear", "front")
    for part in ("cylinder", "cyl", "pump", "cylnder")
]


@pytest.fixture(scope="module")
def spelling():
    found = fit_spelling(TEXTS)
    assert found is not None
    return found


def index(texts):
    return CaseIndex().fit([CaseFeatures(case=f"C{i}", said=text) for i, text in enumerate(texts)])


def likeness(spelling, first, second):
    return float(spelling.vector(first) @ spelling.vector(second))


@pytest.mark.parametrize(
    ("short", "long"), [("cyl", "cylinder"), ("repl", "replace"), ("cylnder", "cylinder")]
)
def test_an_abbreviation_and_a_slip_stand_for_their_word(spelling, short, long):
    assert likeness(spelling, short, long) > 0.5


def test_words_that_only_share_their_neighbours_do_not(spelling):
    assert likeness(spelling, "cylinder", "pump") < 0.05
    assert likeness(spelling, "rear", "front") < 0.05


def test_a_word_never_seen_is_read_as_the_nearest_known_one(spelling):
    assert likeness(spelling, "cylindr", "cylinder") > 0.5
    assert spelling.vector("zzz") is None


def test_left_and_right_are_words_of_their_own():
    assert spelled_words("REPL L/H & R/H lamps") == ["repl", "lh", "rh", "lamps"]


def test_the_order_of_texts_changes_nothing(spelling):
    again = fit_spelling(TEXTS[::-1])
    assert again is not None
    assert again.words == spelling.words
    np.testing.assert_allclose(again.alike.toarray(), spelling.alike.toarray(), atol=1e-12)


def test_another_spelling_lifts_its_case_and_says_so(spelling):
    made = index(["repl front cyl hose", "repl front lamp", ""])
    before = made.scores(CaseFeatures(case="Q", said="cylinder"))
    made.attach(Learned(spaces={}, spelling=spelling))
    found = made.search(CaseFeatures(case="Q", said="cylinder"))
    assert found[0].case == "C0"
    assert "stands for the same: cylinder = cyl" in {reason.what for reason in found[0].reasons}
    assert sum(r.weight for r in found[0].reasons) == pytest.approx(found[0].score)
    after = made.scores(CaseFeatures(case="Q", said="cylinder"))
    assert np.array_equal(after[1:], before[1:])


def test_nothing_is_counted_from_no_words():
    assert fit_spelling(["", "12 34"]) is None


@given(st.text("abcde", max_size=9), st.text("abcde", max_size=9))
def test_likeness_of_spelling_is_mutual_and_lies_between_0_and_1(first, second):
    assert spelled_alike(first, second) == spelled_alike(second, first)
    assert 0 <= spelled_alike(first, second) <= 1


@given(st.text("abc", min_size=1, max_size=8), st.data())
def test_dropping_letters_shortens_a_word(word, data):
    kept = data.draw(st.lists(st.booleans(), min_size=len(word), max_size=len(word)))
    assert shortens("".join(c for c, keep in zip(word, kept, strict=True) if keep), word)
