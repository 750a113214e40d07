from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.neighbors import NearestNeighbors

from kb.retrieval.analyzer import CHAR_LENGTHS, char_terms, word_terms
from kb.retrieval.vectors import TextSpace

TEXTS = [
    "a/c warm at idle, cold on the road",
    "no crank, clicks once",
    "no crank no click, dash dead",
    "pulls right when braking",
    "warm warm warm at idle",
    "",
]
QUERIES = ["warm at idle", "no crank", "zebra", "", "brakes pull to the right", "clicks"]
KINDS: dict[str, tuple[Any, dict[str, Any]]] = {
    "word": (word_terms, {"ngram_range": (1, 2)}),
    "char": (char_terms, {"analyzer": "char_wb", "ngram_range": CHAR_LENGTHS}),
}


@pytest.mark.source("scikit-learn 1.9", "TfidfVectorizer(sublinear_tf=True) and its cosine")
@pytest.mark.parametrize("kind", KINDS)
def test_cosine_equals_scikit_learns_to_1e_5(kind):
    analyzer, options = KINDS[kind]
    oracle = TfidfVectorizer(sublinear_tf=True, **options)
    rows = oracle.fit_transform(TEXTS)
    expected = (oracle.transform(QUERIES) @ rows.T).toarray()
    space = TextSpace(analyzer).fit(TEXTS)
    got = np.stack([space.cosine(space.query(query)) for query in QUERIES])
    np.testing.assert_allclose(got, expected, atol=1e-5)


@pytest.mark.source("scikit-learn 1.9", "NearestNeighbors(algorithm='brute', metric='cosine')")
def test_order_equals_that_of_brute_force_neighbours():
    oracle = TfidfVectorizer(sublinear_tf=True, ngram_range=(1, 2))
    rows = oracle.fit_transform(TEXTS[:5])
    brute = NearestNeighbors(algorithm="brute", metric="cosine", n_neighbors=5).fit(rows)
    distances, _ = brute.kneighbors(oracle.transform(QUERIES[:2]))
    space = TextSpace(word_terms).fit(TEXTS[:5])
    for query, row in zip(QUERIES[:2], distances, strict=True):
        np.testing.assert_allclose(np.sort(1 - space.cosine(space.query(query))), row, atol=1e-5)


@settings(deadline=None, max_examples=50)
@given(
    st.lists(st.text(alphabet="ab c", max_size=12), min_size=1, max_size=6),
    st.text("abc ", max_size=9),
)
def test_cosine_lies_between_0_and_1_and_is_1_with_itself(texts, query):
    space = TextSpace(char_terms).fit(texts)
    got = space.cosine(space.query(query))
    assert np.all((got >= 0) & (got <= 1 + 1e-9))
    for at, text in enumerate(texts):
        if text.strip():
            assert space.cosine(space.query(text))[at] == pytest.approx(1)


def test_shared_terms_are_those_that_both_have():
    space = TextSpace(word_terms).fit(TEXTS)
    assert set(space.shared_terms(space.query("no crank today"), 1)) == {"no", "crank", "no crank"}
    assert space.shared_terms(space.query("zebra"), 1) == ()
