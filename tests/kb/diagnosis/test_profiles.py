import numpy as np
import pytest
from scipy import stats

from kb.diagnosis.profiles import READING_CASES, Witness, reading_profile


@pytest.mark.source("scipy.stats", "norm.logpdf; mean and variance by hand from the formula")
def test_a_reading_counts_by_the_ratio_of_two_normal_densities():
    scores = np.array([-1.5, -1.0, 0.4, 0.9])
    causes = np.array([0, 0, 1, 1])
    witness = Witness(causes=causes, scores=scores, weights=np.ones(4))
    got = reading_profile(0.7, witness, 3)
    k, mine = READING_CASES, scores[2:]
    mean = mine.sum() / (2 + k)
    variance = (((mine - mean) ** 2).sum() + k) / (2 + k) * (1 + 1 / (2 + k))
    expected = stats.norm.logpdf(0.7, mean, np.sqrt(variance)) - stats.norm.logpdf(0.7)
    assert got[1] == pytest.approx(expected)
    assert got[1] > 0 > got[0]
    assert got[2] == 0


def test_a_witness_without_weight_says_nothing():
    witness = Witness(causes=np.array([0]), scores=np.array([1.0]), weights=np.zeros(1))
    assert reading_profile(1.0, witness, 1)[0] == 0
