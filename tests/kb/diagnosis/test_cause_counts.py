import numpy as np
import pytest

from kb.diagnosis.cause_counts import KINDS, CauseCounts
from kb.diagnosis.cause_rows import CauseRows
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure

WARM, COLD = (Token(part="symptom", field="air|", value=v, what=v) for v in ("warm", "cold"))


def a_case(name, cause, *tokens, weight=1.0, low=None):
    measures = () if low is None else (Measure(key="low", value=float(low), what="low"),)
    return CaseFeatures(case=name, cause=cause, tokens=tokens, weight=weight, measures=measures)


def counted(*cases, causes=("a", "b")):
    index = CaseIndex().fit(cases)
    return CauseCounts(index, CauseRows.of(index, {name: at for at, name in enumerate(causes)}))


CASES = (
    a_case("C0", "a", WARM, low=3),
    a_case("C1", "b", WARM, low=9),
    a_case("C2", "a", WARM, weight=0.4, low=1),
    a_case("C3", "a", COLD, weight=0.0, low=2),
    a_case("C4", None, WARM, low=7),
    a_case("C5", "a"),
)


def test_a_token_has_the_weight_of_the_cases_that_have_it_by_cause():
    found = counted(*CASES)
    assert found.weights(WARM.key).tolist() == [1.4, 1.0]
    assert found.weights(COLD.key).tolist() == [0.0, 0.0]
    assert found.weights("never seen").tolist() == [0.0, 0.0]


def test_weights_are_added_up_in_the_order_of_the_cases_to_the_last_bit():
    weights = np.random.default_rng(7).choice([1.0, 0.7, 0.4, 0.25], 300)
    found = counted(*(a_case(f"C{at:03}", "a", WARM, weight=w) for at, w in enumerate(weights)))
    assert found.weights(WARM.key)[0] == sum(weights.tolist())


def test_a_case_that_was_overturned_counts_nowhere():
    found = counted(*CASES)
    assert found.witnesses(0).tolist() == [0, 2, 5]
    assert found.having("tokens", COLD.key, 0) == 0
    assert found.having("fields", "air|", 0) == 2
    assert found.values(0, "low").tolist() == [1.0, 3.0]


def test_a_case_without_a_cause_belongs_to_none():
    found = counted(*CASES)
    assert found.witnesses(1).tolist() == [1]
    assert [found.having("tokens", WARM.key, at) for at in (0, 1)] == [2, 1]


@pytest.mark.parametrize("kind", ["tokens", "fields", "measures"])
def test_each_key_is_counted_as_by_itself(kind):
    found = counted(*CASES)
    keys = getattr(found.index, f"{kind}_").keys
    for cause in (0, 1):
        each = [found.having(kind, key, cause) for key in keys]
        assert found.having_each(kind, cause).tolist() == each
    assert found.having(kind, "never seen", 0) == 0


def test_what_was_never_read_has_no_values():
    found = counted(*CASES)
    assert not len(found.values(0, "never read"))
    assert not len(counted(*CASES, causes=("a", "b", "c")).values(2, "low"))


def test_a_case_is_left_out_of_the_values_by_its_row():
    found = counted(*CASES, a_case("C6", "a", low=3))
    for row, values in ((None, [1, 3, 3]), (0, [1, 3]), (2, [3, 3]), (5, [1, 3, 3]), (6, [1, 3])):
        assert found.values(0, "low", without=row).tolist() == values


def test_values_are_the_same_where_no_more_of_them_are_kept(monkeypatch):
    monkeypatch.setattr("kb.diagnosis.cause_counts._MOST_KEPT", 1)
    found = counted(*CASES)
    for _ in range(2):
        assert [found.values(at, "low").tolist() for at in (0, 1)] == [[1.0, 3.0], [9.0]]
    assert len(found._in_order) == 1


def test_without_a_case_nothing_is_counted():
    found = counted()
    assert found.weights(WARM.key).tolist() == [0.0, 0.0]
    assert not len(found.witnesses(0))


def test_what_was_counted_comes_back_out_of_arrays_to_the_last_bit():
    found = counted(*CASES)
    rows = CauseRows.of(found.index, {"a": 0, "b": 1})
    again = CauseCounts(found.index, rows, found.as_arrays())
    assert again.summed.tolist() == found.summed.tolist() == [2.4, 1.0]
    assert again.weights(WARM.key).tolist() == found.weights(WARM.key).tolist()
    for kind in KINDS:
        for cause in (0, 1):
            each = found.having_each(kind, cause)
            assert again.having_each(kind, cause).tolist() == each.tolist()


@pytest.mark.parametrize("weight", [1.0, 0.5])
def test_weights_are_kept_once_with_the_numbers_of_cases_where_they_are_these(weight):
    cases = [a_case(f"C{at}", "ab"[at % 2], WARM, weight=weight) for at in range(4)]
    found = counted(*cases)
    kept = found.as_arrays()
    assert ("weights sums" in kept) == (weight != 1)
    again = CauseCounts(found.index, CauseRows.of(found.index, {"a": 0, "b": 1}), kept)
    assert again.weights(WARM.key).tolist() == [2 * weight, 2 * weight]
