"""Shards of all cases: the answers of one index to the last bit, also with later cases over them."""

import pickle
import random
from dataclasses import replace

import numpy as np
import pytest
from typing_extensions import override

from kb.case.terms import load_vocabulary
from kb.diagnosis.causes import CauseModel
from kb.errors import EmptyIndexError
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.layer import Layer
from kb.retrieval.layers import LayeredIndex
from kb.retrieval.learn import fit_learned
from kb.retrieval.shards import ShardedIndex, ShardsHere, shard_of, split
from kb.retrieval.whole import Whole, counted
from tests.benchmarks.bench_find import mixed_cases

CASES = mixed_cases(400, random.Random(5))
ASKED = [replace(case, case="Q", told="") for case in mixed_cases(25, random.Random(6))]
FITTED, LATER = CASES[:340], CASES[340:]
ONE = CaseIndex().fit(FITTED)


def sharded(index: CaseIndex, cases: list[CaseFeatures], n_shards: int) -> ShardedIndex:
    """Return the cases in shards, with what they are worth sent as to another process."""
    whole = pickle.loads(pickle.dumps(Whole(index)))
    return ShardedIndex(counted(index), ShardsHere.fitted(FeatureTable.of(cases), whole, n_shards))


def told(matches):
    return [(match.case, match.score, match.reasons) for match in matches]


@pytest.mark.parametrize("n_shards", [1, 2, 5])
def test_shards_answer_as_one_index_to_the_last_bit(n_shards):
    index = sharded(ONE, FITTED, n_shards)
    for query in ASKED:
        expected, found = ONE.ask(query), index.ask(query)
        assert found.best(10) == expected.best(10)
        assert found.best(50) == expected.best(50)
        assert found.missing == 0


def test_what_was_learned_of_closed_fields_counts_alike():
    labelled = [
        replace(case, labels=(("where", f"place {at % 3}"), ("part", f"part {at % 5}")))
        for at, case in enumerate(FITTED)
    ]
    learned = fit_learned(labelled)
    assert learned is not None
    one = CaseIndex().fit(labelled).attach(learned)
    index = sharded(one, labelled, 3)
    kinds = set()
    for query in ASKED[:10]:
        expected = one.ask(query).best(10)
        assert index.ask(query).best(10) == expected
        kinds |= {reason.part for match in expected for reason in match.reasons}
    assert {"learned", "spelling"} <= kinds
    later = [replace(case, case=f"L{case.case}") for case in labelled[:30]]
    ids = [case.case for case in later]
    layered, over = LayeredIndex(one).changed(later, ids), index.changed(later, ids)
    for query in ASKED:
        assert over.ask(query).best(10) == layered.ask(query).best(10)


def test_a_contradiction_counts_only_among_the_nearest_texts_of_all_cases():
    same = [
        CaseFeatures(case=f"C{at:02d}", said=f"rattles when cold, does not rattle when warm {word}")
        for at, word in enumerate(["a", "mirror", "seat belt", "bracket"] * 12)
    ]
    other = [
        CaseFeatures(case=f"D{at:02d}", said="does not rattle when cold, rattles when warm")
        for at in range(30)
    ]
    one = CaseIndex().fit([*same, *other])
    query = CaseFeatures(case="Q", said="rattles when cold, does not rattle when warm")
    expected = one.ask(query).best(78)
    contradicted = [m for m in expected if "contrary" in {r.part for r in m.reasons}]
    assert 0 < len(contradicted) < 30
    for n_shards in (2, 5):
        index = sharded(one, [*same, *other], n_shards)
        for top in (1, 5, 10, 78):
            assert index.ask(query).best(top) == expected[:top]


def test_chances_of_causes_are_those_of_one_index():
    words = load_vocabulary()
    model = CauseModel(words).fit(FITTED, ONE)
    index = sharded(ONE, FITTED, 4)
    same = CauseModel(words).restore(index.base, model.as_arrays())
    for query in ASKED:
        expected, found = model.weigh(ONE.ask(query)), same.weigh(index.ask(query))
        assert found.names == expected.names
        for name in ("parts", "prior", "vote", "odd"):
            assert np.array_equal(getattr(found, name), getattr(expected, name)), name
        assert same.ranked(found) == model.ranked(expected)


def test_later_cases_lie_over_shards_as_they_do_over_one_index():
    changed = [replace(case, said=f"{case.said} again") for case in FITTED[10:14]]
    one: LayeredIndex = LayeredIndex(ONE)
    index: LayeredIndex = sharded(ONE, FITTED, 3)
    for cases, gone in ((LATER[:20], []), (changed, [FITTED[20].case]), (LATER[20:], [])):
        touched = [*(case.case for case in cases), *gone]
        one, index = one.changed(cases, touched), index.changed(cases, touched)
    assert len(index) == len(one) == 399
    words = load_vocabulary()
    model = CauseModel(words).fit(FITTED, ONE)
    follows = model.following(one)
    same = CauseModel(words).restore(index.base, model.as_arrays()).following(index)
    for query in ASKED:
        expected, found = one.ask(query), index.ask(query)
        assert found.best(30) == expected.best(30)
        assert same.chances(found) == follows.chances(expected)
    assert FITTED[20].case not in {m.case for m in index.ask(ASKED[0]).best(400)}


def test_only_wanted_cases_are_shown_where_some_are_named_and_never_the_query_itself():
    index = sharded(ONE, FITTED, 3)
    wanted = {FITTED[3].case, FITTED[200].case, "no such case"}
    found = index.ask(ASKED[0]).best(10, wanted)
    assert found == ONE.ask(ASKED[0]).best(10, wanted)
    assert FITTED[3].case not in [m.case for m in index.search(FITTED[3], top=400)]


def test_ties_are_in_the_order_of_case_ids_across_shards():
    same = [CaseFeatures(case=f"C{at}", said="cold start rattle") for at in range(9)]
    index = sharded(CaseIndex().fit(same), same, 4)
    found = index.search(CaseFeatures(case="Q", said="cold start rattle"), top=4)
    assert [match.case for match in found] == ["C0", "C1", "C2", "C3"]


def test_a_shard_that_could_not_be_asked_is_told():
    class OneAway(ShardsHere):
        @override
        def ask(self, question):
            return [None, *super().ask(question)[1:]]

    shards = OneAway.fitted(FeatureTable.of(FITTED), Whole(ONE), 4)
    asked = ShardedIndex(counted(ONE), shards).ask(ASKED[0])
    assert asked.missing == 1
    assert asked.answers.asked == 4
    here = [case.case for case in FITTED if shard_of(case.case, 4) != 0]
    expected = [match for match in ONE.ask(ASKED[0]).best(60) if match.case in here]
    assert list(asked.best(10)) == expected[:10]


def test_every_case_is_in_one_shard_and_shards_are_of_like_size():
    parts = split([FeatureTable.of(CASES)], 4)
    found = [case for part in parts for table in part for case in table.cases]
    assert sorted(found) == [c.case for c in CASES]
    assert all(70 <= len(part) <= 130 for part in parts)


def test_shards_are_the_same_out_of_tables_that_come_one_after_the_other():
    ordered = sorted(CASES, key=lambda case: case.case)
    tables = [FeatureTable.of(ordered[at : at + 70]) for at in range(0, len(ordered), 70)]
    known = {case.case for case in FITTED}
    whole = Whole(ONE)
    parts = [Layer(whole).fit_tables(part) for part in split(tables, 3, only=known)]
    index = ShardedIndex(counted(ONE), ShardsHere(parts))
    for query in ASKED[:10]:
        assert index.ask(query).best(30) == ONE.ask(query).best(30)


def test_nothing_to_search_is_said():
    index = sharded(ONE, FITTED[:0], 2).changed([], [case.case for case in FITTED])
    with pytest.raises(EmptyIndexError, match="expected at least 1 closed case"):
        index.search(ASKED[0])


class LaterAway(ShardsHere):
    """Shards of which the last answers only the first question."""

    asked = 0

    @override
    def ask(self, question):
        self.asked += 1
        found = super().ask(question)
        return found if self.asked == 1 else [*found[:-1], None]


@pytest.mark.parametrize("known", [{"top": 30}, {"top": 5, "among": {FITTED[3].case}}])
def test_a_shard_that_goes_away_between_two_questions_is_missing(known):
    shards = LaterAway.fitted(FeatureTable.of(FITTED), Whole(ONE), 3)
    found = ShardedIndex(counted(ONE), shards).ask(ASKED[0])
    assert found.missing == 0
    found.best(5)
    assert found.missing == 0
    found.best(**known)
    assert found.missing == 1
