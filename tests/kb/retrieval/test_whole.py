"""What everything is worth among all cases is worth the same without the cases."""

import pickle
import random

import numpy as np

from kb.retrieval.features import Token, observed_token
from kb.retrieval.index import CaseIndex
from kb.retrieval.whole import Whole, counted
from tests.benchmarks.bench_find import mixed_cases

CASES = mixed_cases(200, random.Random(5))
INDEX = CaseIndex().fit(CASES)
WHOLE = pickle.loads(pickle.dumps(Whole(INDEX)))


def test_tokens_are_worth_what_they_are_in_the_index():
    tokens = {token.key: token for case in CASES for token in case.tokens}
    unknown = [
        Token(part="symptom", field="never seen|", value="yes", what="never seen"),
        observed_token("never asked", "yes"),
    ]
    for token in (*tokens.values(), *unknown):
        assert WHOLE.agreement(token) == INDEX.agreement(token)
        assert WHOLE.conflict(token) == INDEX.conflict(token)
        assert WHOLE.often(token) == INDEX.often(token)


def test_readings_have_the_scores_that_they_have_in_the_index():
    assert len(INDEX.measures_.keys) > 5
    for key in (*INDEX.measures_.keys, "never read"):
        here, there = INDEX.scale(key), WHOLE.scale(key)
        assert here.usable == there.usable
        assert here.correlation == there.correlation
        if here.usable:
            assert here.score(1.0, "") == there.score(1.0, "")


def test_words_are_as_rare_as_in_the_index():
    for word in (*INDEX.texts_.words[:50], "neverwritten"):
        assert WHOLE.texts_.rarities.rarity(word) == INDEX.texts_.rarity(word)


def test_it_holds_no_list_of_cases():
    names = {case.case for case in CASES}
    held = pickle.dumps(WHOLE)
    assert not any(name.encode() in held for name in names)


def test_what_is_counted_keeps_causes_and_tokens_and_no_text():
    made = counted(INDEX)
    assert (made.ids_, made.causes_) == (INDEX.ids_, INDEX.causes_)
    assert made.tokens_.keys == INDEX.tokens_.keys
    assert not any(made.stated_)
    assert len(made.texts_.rows) == 0
    assert not np.any(made.texts_.cosines(made.words_of(CASES[0])))
    assert len(INDEX.texts_.rows) > 0
