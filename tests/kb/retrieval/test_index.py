"""The index against a plain dense computation of the same formula, and the laws of the score."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kb.errors import EmptyIndexError
from kb.retrieval.analyzer import char_terms, word_terms
from kb.retrieval.features import CaseFeatures, Measure, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.similarity import (
    COPY_RATE,
    READING_CORRELATION,
    SAID_SHARE,
    TEXT_WEIGHT,
    WORD_SHARE,
)
from kb.retrieval.vectors import TextSpace

WORDS = ("warm at idle", "cold on the road", "no crank", "clicks once", "hums", "")
FIELDS = ("s1|", "s2|hot", "check|hose", "code|P0301")
PARTS = {"s1|": "symptom", "s2|hot": "condition", "check|hose": "finding", "code|P0301": "code"}

tokens = st.dictionaries(st.sampled_from(FIELDS), st.sampled_from(("yes", "no")), max_size=3)
measures = st.dictionaries(st.sampled_from(("a", "b")), st.integers(-5, 5), max_size=2)
case = st.tuples(st.sampled_from(WORDS), st.sampled_from(WORDS), tokens, measures)


def features(name, row):
    said, told, said_tokens, values = row
    return CaseFeatures(
        case=name,
        said=said,
        told=told,
        tokens=tuple(
            Token(part=PARTS[f], field=f, value=v, what=f) for f, v in said_tokens.items()
        ),
        measures=tuple(Measure(key=k, value=float(v), what=k) for k, v in values.items()),
    )


def dense_score(query, cases, at):
    """The formula in its plainest form, one case at a time."""
    total = 0.0
    text = query.said if not query.told else f"{query.said}\n{query.told}"
    for name, share in (("said", SAID_SHARE), ("told", 1 - SAID_SHARE)):
        for analyzer, part in ((word_terms, WORD_SHARE), (char_terms, 1 - WORD_SHARE)):
            space = TextSpace(analyzer).fit([getattr(c, name) for c in cases])
            total += TEXT_WEIGHT * share * part * space.cosine(space.query(text))[at]
    for token in query.tokens:
        there = {t.field: t.value for t in cases[at].tokens}.get(token.field)
        rate = COPY_RATE[token.part]
        if there == token.value:
            n = sum(any(t == token for t in c.tokens) for c in cases)
            total += math.log(1 - rate + rate / (n / len(cases)))
        elif there is not None:
            total += math.log(1 - rate)
    for measure in query.measures:
        values = [m.value for c in cases for m in c.measures if m.key == measure.key]
        there = [m.value for m in cases[at].measures if m.key == measure.key]
        if len(values) < 3 or not there:
            continue
        ranks = [
            sum(v < x for v in values) + sum(v == x for v in values) / 2
            for x in (measure.value, there[0])
        ]
        x, y = (stats.norm.ppf((rank + 0.5) / (len(values) + 1)) for rank in ranks)
        rho = READING_CORRELATION
        joint = stats.multivariate_normal([0, 0], [[1, rho], [rho, 1]]).logpdf([x, y])
        total += joint - stats.norm.logpdf(x) - stats.norm.logpdf(y)
    return total


@settings(deadline=None, max_examples=60)
@given(st.lists(case, min_size=1, max_size=6), case)
def test_the_index_equals_the_dense_formula_to_1e_5(rows, asked):
    cases = [features(f"C{i}", row) for i, row in enumerate(rows)]
    query = features("Q", asked)
    got = CaseIndex().fit(cases).scores(query)
    expected = [dense_score(query, cases, at) for at in range(len(cases))]
    np.testing.assert_allclose(got, expected, atol=1e-5)


@settings(deadline=None, max_examples=60)
@given(st.lists(case, min_size=1, max_size=6), case)
def test_the_weights_of_the_reasons_add_up_to_the_score(rows, asked):
    index = CaseIndex().fit([features(f"C{i}", row) for i, row in enumerate(rows)])
    for match in index.search(features("Q", asked)):
        assert sum(r.weight for r in match.reasons) == pytest.approx(match.score, abs=1e-9)


@settings(deadline=None, max_examples=40)
@given(st.lists(case, min_size=2, max_size=6), case)
def test_the_order_in_which_cases_come_changes_nothing(rows, asked):
    cases = [features(f"C{i}", row) for i, row in enumerate(rows)]
    query = features("Q", asked)
    there = CaseIndex().fit(cases).search(query)
    back = CaseIndex().fit(cases[::-1]).search(query)
    assert [(m.case, m.score) for m in there] == [(m.case, m.score) for m in back]


def test_a_field_that_only_one_side_has_changes_nothing():
    cases = [
        features("C0", ("hums", "", {}, {})),
        features("C1", ("hums", "", {"s1|": "yes"}, {"a": 1})),
    ]
    query = features("Q", ("hums", "", {"s2|hot": "yes"}, {"b": 4}))
    scores = CaseIndex().fit(cases).scores(query)
    assert scores[0] == scores[1]


def test_ties_are_broken_by_case_id():
    cases = [features(name, ("hums", "", {}, {})) for name in ("C2", "C0", "C1")]
    found = CaseIndex().fit(cases).search(features("Q", ("hums", "", {}, {})))
    assert [match.case for match in found] == ["C0", "C1", "C2"]


def test_an_empty_question_scores_every_case_0():
    index = CaseIndex().fit([features("C0", ("hums", "", {"s1|": "yes"}, {}))])
    assert index.search(features("Q", ("", "", {}, {})))[0].score == 0


def test_unseen_words_score_0():
    index = CaseIndex().fit([features("C0", ("hums", "", {}, {}))])
    assert index.search(features("Q", ("zzz", "", {}, {})))[0].score == 0


def test_a_case_never_finds_itself():
    index = CaseIndex().fit(
        [features("C0", ("hums", "", {}, {})), features("C1", ("no", "", {}, {}))]
    )
    assert [m.case for m in index.search(features("C0", ("hums", "", {}, {})))] == ["C1"]


def test_a_search_without_cases_says_what_to_do():
    with pytest.raises(EmptyIndexError, match="close a job"):
        CaseIndex().fit([]).search(features("Q", ("hums", "", {}, {})))
