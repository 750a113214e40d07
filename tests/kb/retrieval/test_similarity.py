import math

import numpy as np
import pytest
from scipy import stats

from kb.retrieval.similarity import (
    normal_scores,
    reading_agreement,
    token_agreement,
    token_conflict,
)


@pytest.mark.source(
    "Fellegi & Sunter 1969", "agreement weight, by hand: ln(1 - .5 + .5/.1) = ln 5.5"
)
def test_a_rare_token_in_common_speaks_for_a_case():
    assert token_agreement(0.5, 0.1) == pytest.approx(math.log(5.5))
    assert token_agreement(0.5, 0.01) > token_agreement(0.5, 0.1) > 0
    assert token_agreement(0.5, 1.0) == pytest.approx(0)


def test_a_conflict_speaks_against_it():
    assert token_conflict(0.5) == pytest.approx(math.log(0.5))


@pytest.mark.source("scipy.stats", "multivariate_normal and norm log densities")
@pytest.mark.parametrize(
    ("x", "y", "rho"), [(0, 0, 0.3), (3, 3, 0.3), (3, -3, 0.3), (1.2, 0.4, 0.8)]
)
def test_reading_agreement_is_the_ratio_of_two_densities(x, y, rho):
    joint = stats.multivariate_normal([0, 0], [[1, rho], [rho, 1]]).logpdf([x, y])
    apart = stats.norm.logpdf(x) + stats.norm.logpdf(y)
    got = reading_agreement(float(x), np.array([float(y)]), rho)[0]
    assert got == pytest.approx(joint - apart, abs=1e-9)


@pytest.mark.source("scipy.stats", "rankdata and norm.ppf")
def test_normal_scores_follow_middle_ranks():
    population = np.sort(np.array([3.0, 1.0, 2.0, 2.0, 9.0]))
    expected = stats.norm.ppf(stats.rankdata(population) / (len(population) + 1))
    np.testing.assert_allclose(normal_scores(population, population), expected, atol=1e-12)


def test_normal_scores_do_not_depend_on_the_unit():
    celsius = np.array([10.0, 35.0, 22.0, 22.0, 41.0])
    fahrenheit = celsius * 9 / 5 + 32
    np.testing.assert_array_equal(
        normal_scores(celsius, np.sort(celsius)), normal_scores(fahrenheit, np.sort(fahrenheit))
    )
