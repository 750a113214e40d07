import numpy as np
import pytest

from kb.diagnosis.cause_terms import SPACES, UNKNOWN, CauseTerms, kind_of, term_arrays
from kb.retrieval.learn import ANALYZERS
from kb.retrieval.vectors import TextSpace

TEXTS = {
    "said": ["zorps at dusk, zorps again", "cold at dusk", "dusk and dawn"],
    "told": ["gromm torn", "zorps behind the gromm", ""],
}
FITTED = {
    name: TextSpace(ANALYZERS[kind_of(name)]).fit(TEXTS[name.partition(" ")[0]]) for name in SPACES
}
TERMS = CauseTerms(term_arrays(FITTED))


@pytest.mark.parametrize("name", SPACES)
def test_each_term_of_a_space_has_its_causes_their_weights_and_its_rarity(name):
    space = FITTED[name]
    names = list(space.terms_)
    lists = TERMS.lists(name, TERMS.numbers(kind_of(name), names))
    assert np.array_equal(TERMS.idf(lists), space.idf_[[space.terms_[term] for term in names]])
    for term, at in zip(names, lists, strict=True):
        mine = slice(TERMS.pointers[at], TERMS.pointers[at + 1])
        made = space.postings_[[space.terms_[term]]]
        assert TERMS.rows[mine].tolist() == made.indices.tolist()
        assert TERMS.values[mine].tolist() == made.data.tolist()


def test_a_term_of_another_text_or_of_none_has_no_list():
    numbers = TERMS.numbers("word", ["torn", "dawn", "never said"])
    assert numbers[2] == UNKNOWN
    assert (TERMS.lists("said word", numbers) >= 0).tolist() == [False, True, False]
    assert (TERMS.lists("told word", numbers) >= 0).tolist() == [True, False, False]


def test_terms_are_put_in_the_order_in_which_they_first_came():
    came = [*FITTED["said char"].terms_]
    came += [term for term in FITTED["told char"].terms_ if term not in FITTED["said char"].terms_]
    numbers = TERMS.numbers("char", sorted(came))
    assert [sorted(came)[at] for at in TERMS.in_order("char", numbers)] == came
