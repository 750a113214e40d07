"""One shard of all cases: what it tells, and how it is read back over the worth of all."""

import random
from dataclasses import replace

from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.layer import Layer
from kb.retrieval.shard import Question, Shard, shard_over
from kb.retrieval.snapshot import read_snapshot, write_snapshot
from kb.retrieval.whole import Whole
from tests.benchmarks.bench_find import mixed_cases

CASES = mixed_cases(120, random.Random(5))
WHOLE = Whole(CaseIndex().fit(CASES))
PART = Layer(WHOLE).fit_tables([FeatureTable.of(CASES[:40])])
ASKED = replace(CASES[100], case="Q", told="")


def question(**changes) -> Question:
    return Question(**{"query": ASKED, "top": 5, "witnesses": 15, **changes})


def test_a_shard_read_from_its_file_answers_as_the_one_that_was_written(tmp_path):
    write_snapshot(tmp_path / "part", {"for": "a test"}, PART)
    kept = read_snapshot(tmp_path / "part", {"for": "a test"})
    assert kept is not None
    again = Shard(shard_over(WHOLE, kept.cases)).answer(question())
    assert again == Shard(PART).answer(question())
    assert len(again.best) >= 5
    assert len(again.witnesses) >= 15


def test_a_case_that_is_gone_is_not_told():
    shard = Shard(PART)
    first = shard.answer(question()).best[0].match.case
    without = shard.answer(question(gone=(first,)))
    told = {found.match.case for found in without.best} | {row.case for row in without.witnesses}
    assert first not in told | {row.case for row in without.near}
    assert shard.answer(question()).best[0].match.case == first


def test_a_case_that_is_contradicted_is_told_with_both_scores():
    cases = [
        CaseFeatures(case="A", said="does not rattle when cold, rattles when warm", cause="loose"),
        CaseFeatures(case="B", said="hums at speed", cause="worn"),
    ]
    index = CaseIndex().fit(cases)
    shard = Shard(Layer(Whole(index)).fit_tables([FeatureTable.of(cases)]))
    asked = CaseFeatures(case="Q", said="rattles when cold, does not rattle when warm")
    answer = shard.answer(question(query=asked))
    found = next(found for found in answer.best if found.match.case == "A")
    assert found.contradicted.score < found.match.score
    assert [r.part for r in found.contradicted.reasons if r.weight < 0] == ["contrary"]
    assert next(w for w in answer.witnesses if w.case == "A").contradicted < found.match.score
