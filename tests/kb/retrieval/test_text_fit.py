import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from kb.retrieval.analyzer import told_words
from kb.retrieval.feature_lists import Lists
from kb.retrieval.text_fit import TextFit
from kb.retrieval.texts import CaseTexts

TEXTS = st.sampled_from(
    ("", "no leak", "leaks at idle", "hose hose hose", "no reverse", "fan dead")
)
PAIRS = st.lists(st.tuples(TEXTS, TEXTS), min_size=1, max_size=4)


def columns(pairs):
    return tuple(Lists.counted(map(told_words, texts)) for texts in zip(*pairs, strict=True))


@given(st.lists(PAIRS, min_size=1, max_size=4))
def test_texts_in_chunks_are_fitted_as_all_at_once(chunks):
    fit = TextFit()
    for pairs in chunks:
        fit.count(columns(pairs))
    for pairs in chunks:
        fit.put(columns(pairs))
    ours = CaseTexts.fitted(fit)
    whole = CaseTexts.of(columns([pair for pairs in chunks for pair in pairs]))
    assert ours.words == whole.words
    for name in ("idf", "pointers", "rows", "values"):
        assert np.array_equal(getattr(ours, name), getattr(whole, name))


def test_a_word_tells_as_much_as_is_said_where_it_is_said():
    fit = TextFit(len)
    fit.count(columns([("fan dead", "")]))
    fit.put(columns([("fan dead", "")]))
    assert fit.made().idf.tolist() == [4, 3]
