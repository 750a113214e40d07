import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from kb.diagnosis.profiles import (
    READING_CASES,
    cause_prior,
    held_cases,
    near_base,
    profile_of_known,
    reading_profile,
    recorded_shares,
)

COUNTS = np.array([[4.0, 0.0], [2.0, 2.0], [0.0, 0.0]])


@pytest.mark.source("by hand", "6 yes 2 no over all: (6 + 1/2) / 9; cause 0: (4 + k m) / (4 + k)")
def test_shares_are_shrunk_to_the_overall_share():
    shares, overall = recorded_shares(COUNTS)
    k = held_cases(COUNTS, overall)
    assert overall == pytest.approx([6.5 / 9, 2.5 / 9])
    assert shares[0, 0] == pytest.approx((4 + k * 6.5 / 9) / (4 + k))
    assert shares.sum(axis=1) == pytest.approx(1)


@pytest.mark.source("scipy.stats", "dirichlet_multinomial.logpmf, weighed over k = 1/4 to 64")
@pytest.mark.parametrize("counts", [COUNTS, np.array([[9.0, 1.0], [1.0, 9.0], [5.0, 6.0]])])
def test_pseudo_cases_are_the_mean_of_ln_k_under_its_likelihood(counts):
    base, tried = np.array([0.7, 0.3]), 2.0 ** np.arange(-2, 7)
    rows = counts[counts.sum(axis=1) > 0].astype(int)
    fits = [
        sum(stats.dirichlet_multinomial.logpmf(row, k * base, row.sum()) for row in rows)
        for k in tried
    ]
    weights = np.exp(np.array(fits) - max(fits))
    expected = np.exp((weights * np.log(tried)).sum() / weights.sum())
    assert held_cases(counts, base) == pytest.approx(expected)


def test_rows_that_differ_are_held_less_than_rows_that_agree():
    base = np.array([0.5, 0.5])
    apart = held_cases(np.array([[20.0, 0.0], [0.0, 20.0]]), base)
    alike = held_cases(np.array([[10.0, 10.0], [10.0, 10.0]]), base)
    assert apart < 1
    assert alike > 16


def test_without_a_case_the_pseudo_cases_are_the_middle_of_those_tried():
    assert held_cases(np.zeros((3, 2)), np.array([0.5, 0.5])) == pytest.approx(4)


@settings(max_examples=50)
@given(arrays(np.float64, (4, 3), elements=st.integers(0, 30).map(float)))
def test_shares_lie_between_what_was_counted_and_the_base(counts):
    base = np.array([0.5, 0.3, 0.2])
    shares = near_base(counts, base)
    total = np.maximum(counts.sum(axis=1, keepdims=True), 1)
    counted = np.where(counts.sum(axis=1, keepdims=True) > 0, counts / total, base)
    assert (shares >= np.minimum(counted, base) - 1e-12).all()
    assert (shares <= np.maximum(counted, base) + 1e-12).all()


def test_a_cause_that_never_recorded_a_field_says_nothing_by_it():
    shares, overall = recorded_shares(np.array([[4.0, 1.0], [0.0, 0.0]]))
    assert shares[1] == pytest.approx(overall)


@pytest.mark.source("scipy.stats", "norm.logpdf, mean and variance by hand from the formula")
def test_a_reading_is_the_ratio_of_two_normal_densities():
    scores, k = np.array([1.0, 1.4, -0.3]), READING_CASES
    profile = reading_profile(scores, np.array([0, 0, 2]), weights=np.ones(3), size=3)
    got = profile.ratio(1.1)
    mean = 2.4 / (2 + k)
    variance = (((scores[:2] - mean) ** 2).sum() + k) / (2 + k) * (1 + 1 / (2 + k))
    ratio = stats.norm.logpdf(1.1, mean, np.sqrt(variance)) - stats.norm.logpdf(1.1)
    assert got[0] == pytest.approx(ratio)
    assert got[1] == 0


@pytest.mark.source("by hand", "2 of 5 cases seen once: g = 3 / 7; shares by 1.5, 1.5 and 3.5")
def test_causes_without_a_case_share_what_cases_seen_once_leave():
    weights, cases = np.array([1.0, 1.0, 3.0, 0.0, 0.0]), np.array([1, 1, 3, 0, 0])
    got = cause_prior(weights, cases)
    assert got[3:] == pytest.approx([3 / 14, 3 / 14])
    assert got[:3] == pytest.approx(np.array([1.5, 1.5, 3.5]) / 6.5 * 4 / 7)
    assert got.sum() == pytest.approx(1)


def test_causes_without_a_case_never_have_less_than_half_a_case_each():
    got = cause_prior(np.array([9.0, 9.0, 0.0, 0.0]), np.array([9, 9, 0, 0]))
    assert got == pytest.approx(np.array([9.5, 9.5, 0.5, 0.5]) / 20)


def test_a_shop_whose_causes_all_have_cases_shares_by_them():
    got = cause_prior(np.array([1.0, 3.0]), np.array([1, 3]))
    assert got == pytest.approx([1.5 / 5, 3.5 / 5])
    assert cause_prior(np.zeros(4), np.zeros(4, np.int64)) == pytest.approx([0.25] * 4)


def test_a_reading_of_fewer_than_five_cases_with_a_cause_has_no_profile():
    scores, weights = np.arange(6.0), np.ones(6)
    causes = np.array([0, 0, -1, 1, 1, -1])
    assert profile_of_known(scores, causes, weights=weights, size=2) is None
    causes[2] = 1
    found = profile_of_known(scores, causes, weights=weights, size=2)
    alone = reading_profile(scores[:5], causes[:5], weights=weights[:5], size=2)
    assert found is not None
    assert found.mean.tolist() == alone.mean.tolist()
