import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.diagnosis.discoveries import adjusted, can_tell, found

# Fifteen tests of one clinical trial.
TRIAL = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
    0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0,
]  # fmt: skip
P_VALUES = st.lists(st.floats(0, 1), max_size=30)


@pytest.mark.source(
    "Benjamini & Hochberg (1995)", "15 p-values, 4 found at .05, Bonferroni 3, from memory"
)
def test_four_of_the_fifteen_published_tests_are_found():
    assert found(TRIAL, q=0.05).tolist() == [True] * 4 + [False] * 11
    assert sum(p <= 0.05 / 15 for p in TRIAL) == 3


@pytest.mark.source("by hand", "p * 10 / rank, the least of it and all later ones")
def test_adjusted_p_values_and_one_that_sits_on_the_limit():
    p = [0.0004, 0.003, 0.012, 0.02, 0.04, 0.06, 0.2, 0.3, 0.5, 0.8]
    by_hand = [0.004, 0.015, 0.04, 0.05, 0.08, 0.10, 2 / 7, 0.375, 5 / 9, 0.8]
    assert adjusted(p) == pytest.approx(by_hand)
    assert found(p, q=0.05).sum() == 4


@given(P_VALUES)
def test_a_smaller_p_is_never_less_of_a_find(p):
    said = found(p)
    for one in range(len(p)):
        for other in range(len(p)):
            assert not (p[one] <= p[other] and said[other] and not said[one])


@given(P_VALUES, st.floats(0.01, 0.5), st.floats(0.01, 0.5))
def test_more_allowed_by_chance_finds_no_fewer(p, one, other):
    few, many = sorted((one, other))
    assert not (found(p, q=few) & ~found(p, q=many)).any()


@given(P_VALUES)
def test_an_adjusted_p_is_never_below_the_p_itself(p):
    assert (adjusted(p) >= np.array(p) - 1e-12).all()


@given(P_VALUES)
def test_nothing_found_by_bonferroni_is_missed(p):
    assert not ((np.array(p) <= 0.1 / max(1, len(p))) & ~found(p)).any()


def test_rows_that_can_tell_nothing_cost_the_others_nothing():
    p = [0.02] + [0.7] * 9
    assert not found(p).any()
    assert found(p, reachable=[0.001] + [0.5] * 9).tolist() == [True] + [False] * 9


def test_a_row_that_cannot_reach_its_own_p_is_not_found():
    assert not found([0.01, 0.01], reachable=[1.0, 1.0]).any()


@pytest.mark.source("by hand", "K=1: 2 rows reach .1; K=2: 2 rows reach .05, and 2 <= 2")
def test_the_rows_that_can_tell_are_counted_against_the_limit_they_set():
    assert can_tell([0.5, 0.02, 0.001, 0.3], 0.1).tolist() == [False, True, True, False]
    assert can_tell([0.09, 0.08, 0.06], 0.1).tolist() == [False, False, False]


def test_no_rows_find_nothing():
    assert found([]).tolist() == []
    assert can_tell([]).tolist() == []


def test_a_tenth_of_the_finds_is_chance_when_a_tenth_is_allowed():
    rng = np.random.default_rng(5)
    shares = []
    for _ in range(400):
        true = np.arange(100) < 20
        p = np.where(true, rng.beta(0.2, 12, 100), rng.uniform(size=100))
        said = found(p)
        shares.append((said & ~true).sum() / max(1, said.sum()))
    # Of the 80 % without an effect: .1 * .8 on average.
    assert np.mean(shares) == pytest.approx(0.08, abs=0.02)
