import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.feature_extraction.text import TfidfVectorizer

from kb.retrieval.analyzer import CHAR_LENGTHS, char_terms, word_terms

TEXTS = st.text(alphabet="abcdé12 -/.,\n'", max_size=60)


@pytest.mark.source("scikit-learn 1.9", "TfidfVectorizer(analyzer='char_wb')")
@given(TEXTS)
def test_character_grams_are_those_of_scikit_learn(text):
    oracle = TfidfVectorizer(analyzer="char_wb", ngram_range=CHAR_LENGTHS).build_analyzer()
    assert sorted(char_terms(text).elements()) == sorted(oracle(text))


@pytest.mark.source("scikit-learn 1.9", "TfidfVectorizer(ngram_range=(1, 2))")
@given(TEXTS)
def test_words_and_pairs_are_those_of_scikit_learn(text):
    oracle = TfidfVectorizer(ngram_range=(1, 2)).build_analyzer()
    assert sorted(word_terms(text).elements()) == sorted(oracle(text))


def test_a_run_of_a_hundred_thousand_characters_is_cut():
    assert len(char_terms("9" * 100_000)) < 10
