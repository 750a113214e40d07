import numpy as np
import pytest
from scipy import stats

from kb.diagnosis.profiles import READING_CASES, RECORDED_CASES, reading_ratio, recorded_shares


@pytest.mark.source("by hand", "6 yes 2 no over all: (6 + 1/2) / 9; cause 0: (4 + 3 m) / (4 + 3)")
def test_shares_are_shrunk_to_the_overall_share():
    shares, overall = recorded_shares(np.array([[4.0, 0.0], [2.0, 2.0], [0.0, 0.0]]))
    assert overall == pytest.approx([6.5 / 9, 2.5 / 9])
    assert shares[0, 0] == pytest.approx((4 + RECORDED_CASES * 6.5 / 9) / (4 + RECORDED_CASES))
    assert shares.sum(axis=1) == pytest.approx(1)


def test_a_cause_that_never_recorded_a_field_says_nothing_by_it():
    shares, overall = recorded_shares(np.array([[4.0, 1.0], [0.0, 0.0]]))
    assert shares[1] == pytest.approx(overall)


@pytest.mark.source("scipy.stats", "norm.logpdf, mean and variance by hand from the formula")
def test_a_reading_is_the_ratio_of_two_normal_densities():
    scores, k = np.array([1.0, 1.4, -0.3]), READING_CASES
    got = reading_ratio(1.1, scores, np.array([0, 0, 2]), weights=np.ones(3), size=3)
    mean = 2.4 / (2 + k)
    variance = (((scores[:2] - mean) ** 2).sum() + k) / (2 + k) * (1 + 1 / (2 + k))
    ratio = stats.norm.logpdf(1.1, mean, np.sqrt(variance)) - stats.norm.logpdf(1.1)
    assert got[0] == pytest.approx(ratio)
    assert got[1] == 0
