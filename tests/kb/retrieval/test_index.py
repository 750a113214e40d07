"""The index against a plain dense computation of the same formula, and the laws of the score."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kb.case.contraries import contrary_share
from kb.errors import EmptyIndexError
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure
from kb.retrieval.similarity import (
    CONTRARY_WEIGHT,
    COPY_RATE,
    LEAST_NEAR,
    READING_CORRELATION,
    TEXT_SHARE,
    TEXT_WEIGHT,
    token_conflict,
)
from tests.kb.retrieval.test_texts import dense_cosine

WORDS = (
    "warm at idle, cold on the road",
    "cold at idle, warm on the road",
    "cold on the road",
    "no crank",
    "hums",
    "",
)
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
    return (
        dense_text(query, cases, at)
        + dense_tokens(query, cases, at)
        + dense_reads(query, cases, at)
    )


def dense_text(query, cases, at):
    texts = [(c.said, c.told) for c in cases]
    pairs = [(asked, stored) for asked in (query.said, query.told) for stored in texts[at]]
    total = TEXT_WEIGHT * TEXT_SHARE * sum(dense_cosine(*pair, texts) for pair in pairs)
    if total > TEXT_WEIGHT * LEAST_NEAR:
        total -= CONTRARY_WEIGHT * contrary_share(query.said, cases[at].said)
    return total


def dense_tokens(query, cases, at):
    total = 0.0
    for token in query.tokens:
        there = {t.field: t.value for t in cases[at].tokens}.get(token.field)
        rate = COPY_RATE[token.part]
        if there == token.value:
            n = sum(any(t == token for t in c.tokens) for c in cases)
            total += math.log(1 - rate + rate / (n / len(cases)))
        elif there is not None:
            total += math.log(1 - rate)
    return total


def dense_reads(query, cases, at):
    total = 0.0
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
def test_the_index_equals_the_dense_formula_to_1e_4_nats(rows, asked):
    cases = [features(f"C{i}", row) for i, row in enumerate(rows)]
    query = features("Q", asked)
    got = CaseIndex().fit(cases).scores(query)
    expected = [dense_score(query, cases, at) for at in range(len(cases))]
    np.testing.assert_allclose(got, expected, atol=1e-4)


@settings(deadline=None, max_examples=60)
@given(st.lists(case, min_size=1, max_size=6), case)
def test_the_weights_of_the_reasons_add_up_to_the_score(rows, asked):
    index = CaseIndex().fit([features(f"C{i}", row) for i, row in enumerate(rows)])
    for match in index.search(features("Q", asked)):
        assert sum(r.weight for r in match.reasons) == pytest.approx(match.score, abs=1e-4)


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


@settings(deadline=None, max_examples=60)
@given(st.lists(case, min_size=2, max_size=6), st.data())
def test_the_score_of_two_cases_is_the_same_whichever_asks(rows, data):
    cases = [features(f"C{i}", row) for i, row in enumerate(rows)]
    index = CaseIndex().fit(cases)
    a, b = (data.draw(st.integers(0, len(cases) - 1)) for _ in range(2))
    there, back = index.scores(cases[a])[b], index.scores(cases[b])[a]
    assert there == pytest.approx(back, abs=1e-4)


def test_two_values_of_a_field_are_in_conflict_once_and_only_where_none_agrees():
    both = tuple(Token(part="clause", field="fan|", value=v, what=v) for v in ("on", "off"))
    cases = [
        CaseFeatures(case="C0", tokens=both),
        CaseFeatures(case="C1", tokens=both[:1]),
        CaseFeatures(case="C2", tokens=(Token(part="clause", field="fan|", value="x", what="x"),)),
    ]
    index = CaseIndex().fit(cases)
    assert index.scores(cases[0])[1] == pytest.approx(index.scores(cases[1])[0])
    assert index.scores(cases[0])[2] == pytest.approx(token_conflict(COPY_RATE["clause"]))


def test_the_same_words_about_contrary_facts_lose_to_other_words_about_the_same():
    said = "upper hose hot, lower hose cold"
    index = CaseIndex().fit([features("C0", (said, "", {}, {}))])

    def score(text):
        return index.scores(features("Q", (text, "", {}, {})))[0]

    assert score("upper hose cold, lower hose hot") < score("top hose hot, bottom hose cold")
    assert score("upper hose cold, lower hose hot") < 0.7 * score(said)


def test_a_case_taken_out_and_put_back_leaves_every_bit_of_every_score():
    rows = [(text, "", {"s1|": "yes"}, {"a": at}) for at, text in enumerate(WORDS)]
    cases = [features(f"C{i}", row) for i, row in enumerate(rows)]
    index = CaseIndex().fit(cases)
    before = index.scores(features("Q", rows[0]))
    CaseIndex().fit(cases[1:])
    after = CaseIndex().fit([*cases[1:], cases[0]]).scores(features("Q", rows[0]))
    assert before.tobytes() == after.tobytes()


def test_the_unit_in_which_readings_come_changes_nothing():
    cases = [features(f"C{i}", ("", "", {}, {"a": i * i})) for i in range(5)]

    def in_other_unit(case):
        return replace(
            case, measures=tuple(replace(m, value=1.8 * m.value + 32) for m in case.measures)
        )

    plain = CaseIndex().fit(cases).scores(cases[2])
    other = CaseIndex().fit([in_other_unit(c) for c in cases]).scores(in_other_unit(cases[2]))
    np.testing.assert_allclose(plain, other, atol=1e-6)


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
