"""The texts of cases against a plain dense computation on scikit-learn's counts."""

import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.feature_extraction.text import TfidfVectorizer

from kb.retrieval.analyzer import told_words
from kb.retrieval.feature_lists import Lists
from kb.retrieval.spelled import LEAST_ALIKE, length_of, pieces
from kb.retrieval.texts import CaseTexts

TEXTS = st.sampled_from(
    (
        "", "no leak", "leaks at idle", "leaking hose, leak not found", "hose hose hose",
        "no reverse, has drive", "fan dead", "hoses colapsed",
    )
)  # fmt: skip


def sklearn_rarity(texts):
    """The idf that scikit-learn gives each word; a case with two texts is one document."""
    documents = ["\n".join(pair) for pair in texts]
    vectorizer = TfidfVectorizer(analyzer=lambda text: set(told_words(text)))
    try:
        vectorizer.fit(documents)
    except ValueError:
        return {}
    return dict(zip(vectorizer.get_feature_names_out(), vectorizer.idf_, strict=True))


def cosine_of_pieces(first, second):
    a, b = pieces(first), pieces(second)
    return sum(n * b[piece] for piece, n in a.items()) / (length_of(first) * length_of(second))


def dense_cosine(first, second, texts):
    """The cosine of two texts, word by word, in its plainest form."""
    rarity = sklearn_rarity([("".join(f"{one}\n" for one in pair),) for pair in texts])
    unknown = math.log(1 + len(texts)) + 1

    def weights(text):
        counted = Counter(told_words(text))
        return {
            word: (1 + math.log(n)) * math.sqrt(length_of(word) * rarity.get(word, unknown))
            for word, n in counted.items()
        }

    def product(a, b, least):
        alike = ((x, y, cosine_of_pieces(x, y)) for x in a for y in b)
        return sum(a[x] * b[y] * c for x, y, c in alike if c >= least)

    a, b = weights(first), weights(second)
    if not a or not b:
        return 0.0
    lengths = math.sqrt(product(a, a, 0) * product(b, b, 0))
    return product(a, b, LEAST_ALIKE - 1e-6) / lengths


def fitted(columns):
    """Return the texts of cases, one a column each."""
    return CaseTexts.of([Lists.counted(map(told_words, column)) for column in columns])


@pytest.mark.source("scikit-learn", "TfidfVectorizer: idf_")
@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(TEXTS, TEXTS), min_size=1, max_size=6), TEXTS, TEXTS)
def test_cosines_equal_a_dense_computation_to_1e_5(cases, said, told):
    texts = fitted([[case[0] for case in cases], [case[1] for case in cases]])
    got = texts.cosines(texts.ask((said, told)))
    expected = [
        sum(dense_cosine(asked, stored, cases) for asked in (said, told) for stored in case)
        for case in cases
    ]
    np.testing.assert_allclose(got, expected, atol=1e-5)


@settings(deadline=None, max_examples=40)
@given(st.lists(TEXTS, min_size=1, max_size=6), TEXTS)
def test_a_cosine_lies_between_0_and_1(stored, asked):
    texts = fitted([stored])
    got = texts.cosines(texts.ask((asked,)))
    assert got.min() >= 0
    assert got.max() <= 1 + 1e-5


def test_the_same_text_is_the_most_alike():
    stored = ["fan dead at idle", "fan dead", "hose leaks at idle", "belt squeals cold"]
    texts = fitted([stored])
    for row, text in enumerate(stored):
        assert texts.cosines(texts.ask((text,))).argmax() == row


def test_all_pairs_are_the_cosines_of_each_case_with_each():
    stored = ["leaks at idle", "no leak", "hose collapsed", "hoses colapsed at idle", ""]
    texts = fitted([stored, stored[::-1]])
    pairs = texts.pairs()
    for row, (said, told) in enumerate(zip(stored, stored[::-1], strict=True)):
        np.testing.assert_allclose(texts.cosines(texts.ask((said, told))), pairs[row], atol=1e-5)


def test_the_words_behind_a_cosine_are_told_strongest_first():
    texts = fitted([["hose leaking at idle", "fan dead", "idle"]])
    asked = texts.ask(("leaks at the hose",))
    first, second, third = texts.shared(asked, np.array([0, 1, 2], np.int32), most=5)
    assert list(first.items()) == [("hose", "hose"), ("leaks", "leaking")]
    assert second == third == {}
    assert texts.shared(asked, np.array([0], np.int32), most=1) == [{"hose": "hose"}]


def test_of_the_words_that_one_asked_stands_for_the_strongest_is_told():
    texts = fitted([["leaks leaking leaky"]])
    assert texts.shared(texts.ask(("leaks",)), np.array([0]), most=5) == [{"leaks": "leaks"}]


def test_words_that_do_not_begin_alike_and_small_words_count_but_are_not_told():
    texts = fitted([["down at the town"]])
    asked = texts.ask(("town at the",))
    assert {texts.words[at] for at in asked.ids} >= {"town", "down", "the"}
    assert texts.shared(asked, np.array([0], np.int32), most=5) == [{"town": "town"}]


def test_words_never_seen_say_nothing():
    texts = fitted([["fan dead"]])
    assert texts.cosines(texts.ask(("zzz qqq",))).tolist() == [0.0]
    assert texts.cosines(texts.ask(("", ""))).tolist() == [0.0]


@pytest.mark.parametrize("asked", ["ac", "acid", "at", "zzz", "é", "hos", "hose"])
def test_words_are_told_where_their_first_three_letters_are_the_same(asked):
    held = ["a", "ac", "acc", "acid", "acidic", "hos", "hose", "hosé", "ho", "émoussé", "zz"]
    texts = fitted([[" ".join(held)]])
    first, last = texts._beginning(asked)
    wanted = [word for word in texts.words if word[:3] == asked[:3]]
    assert list(texts.words[first:last]) == wanted
