import pytest

from kb.case.shop_rows import ShopTerm
from kb.case.terms import load_vocabulary
from kb.errors import VocabularyError
from kb.workflow.exchange.known_words import KnownWords

NEST = ShopTerm(
    kind="cause", key="nest", name="nest", body={"system": "hvac", "part": "", "complaints": []}
)


def test_words_are_the_trades_the_shops_and_those_that_came(filled):
    with filled.store.read() as unit:
        words = KnownWords(unit)
    assert "own_cause" in words.read().causes
    assert "nest" not in words.read().causes
    words.add(NEST)
    assert {"own_cause", "nest", *load_vocabulary().causes} == set(words.read().causes)


def test_words_that_contradict_each_other_are_told(empty):
    with empty.store.read() as unit:
        words = KnownWords(unit)
    words.add(ShopTerm(kind="cause", key="nest", name="nest", body={"system": "no_such"}))
    with pytest.raises(VocabularyError):
        words.read()
