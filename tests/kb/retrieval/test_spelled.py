import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from sklearn.feature_extraction.text import CountVectorizer
from sklearn.metrics.pairwise import cosine_similarity

from kb.retrieval.spelled import LEAST_ALIKE, LENGTHS, SpelledWords, length_of, pieces

words = st.lists(st.text("abcl", min_size=2, max_size=7), min_size=1, max_size=12, unique=True)


def sklearn_likeness(known, asked):
    """The cosine of counted pieces as scikit-learn reckons it."""
    vectors = CountVectorizer(analyzer="char_wb", ngram_range=LENGTHS).fit([*known, *asked])
    return cosine_similarity(vectors.transform(asked), vectors.transform(known))


@pytest.mark.source("scikit-learn", "CountVectorizer(analyzer='char_wb') and cosine_similarity")
@given(words, words)
@example(["a" * 64, "ab" * 32, "a" * 63 + "b", "aa"], ["a" * 64, "a" * 40, "aa", "aab"])
def test_likeness_equals_scikit_learns(known, asked):
    spelled = SpelledWords.of(known)
    for word, expected in zip(asked, sklearn_likeness(known, asked), strict=True):
        ids, alike = spelled.near(word)
        found = np.zeros(len(known))
        found[ids] = alike
        # One that stands on the very limit is alike, however it was rounded.
        near = expected >= LEAST_ALIKE - 1e-6
        np.testing.assert_allclose(found, np.where(near, expected, 0.0), atol=1e-6)


def test_slips_endings_and_parts_of_words_are_alike_and_others_are_not():
    spelled = SpelledWords.of(["leak", "leaking", "collapsed", "hose", "house"])

    def near(word):
        return {list(spelled.words)[at] for at in spelled.near(word)[0]}

    assert near("leaks") == {"leak", "leaking"}
    assert near("collapsd") == {"collapsed"}
    assert "hose" in near("hoses")
    assert near("spark") == set()


def test_a_turned_word_is_like_itself_alone():
    spelled = SpelledWords.of(["reverse", "no reverse", "not reverse"])
    assert spelled.near("no reverse")[0].tolist() == [1]
    assert spelled.near("reverse")[0].tolist() == [0]


def test_the_rows_have_length_1():
    spelled = SpelledWords.of(["leak", "aaaa", "no leak"])
    squares = spelled.unit_rows().multiply(spelled.unit_rows()).sum(axis=1)
    assert np.asarray(squares) == pytest.approx(np.ones(3), abs=1e-6)


def test_what_was_asked_long_ago_is_forgotten(monkeypatch):
    monkeypatch.setattr("kb.retrieval.spelled._MOST_REMEMBERED", 2)
    spelled = SpelledWords.of(["leak"])
    first = spelled.near("leaks")[1]
    for word in ("fan", "hose", "belt"):
        spelled.near(word)
    assert len(spelled._known) <= 2
    assert spelled.near("leaks")[1].tolist() == first.tolist()


def test_a_word_of_a_hundred_thousand_letters_is_cut():
    assert len(pieces("9" * 100_000)) < 10
    assert length_of("9" * 100_000) == length_of("9" * 64)
