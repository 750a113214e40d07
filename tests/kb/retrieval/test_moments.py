"""The estimators on invented cases whose true correlation and copy rate are known."""

import numpy as np
import pytest

from kb.retrieval.moments import (
    CENTRING_CASES,
    MOST_RATE,
    copied,
    fit_scale,
    shrunk_copy_rate,
    shrunk_correlation,
    shrunk_presence_rate,
)


def drawn(rho, *, causes=6000, each=5, seed=1):
    rng = np.random.default_rng(seed)
    shared = rng.normal(size=(causes, 1)) * np.sqrt(rho)
    own = rng.normal(size=(causes, each)) * np.sqrt(1 - rho)
    return (shared + own).ravel(), np.repeat(np.arange(causes), each)


@pytest.mark.source("one-way random effects", "cases of a cause share a part of variance rho")
@pytest.mark.parametrize("rho", [0.1, 0.4, 0.8])
def test_the_correlation_that_was_drawn_is_found_again(rho):
    assert shrunk_correlation(*drawn(rho)) == pytest.approx(rho, abs=0.05)


@pytest.mark.source("mixture by construction", "a value is the cause's own with rate r, else any")
@pytest.mark.parametrize("rate", [0.1, 0.5, 0.8])
def test_the_copy_rate_that_was_drawn_is_found_again(rate):
    rng = np.random.default_rng(3)
    causes = np.repeat(np.arange(400), 5)
    own = rng.integers(0, 4, 400)[causes]
    same = rng.random((2000,)) < np.sqrt(rate)
    values = np.where(same, own, rng.integers(0, 4, 2000))
    assert shrunk_copy_rate(values, causes) == pytest.approx(rate, abs=0.06)


@pytest.mark.source("by hand", "one pair 1, 2: (2 * 2 / 1 + 20 * .25) / (2 + 20)")
def test_few_cases_stay_near_the_prior():
    got = shrunk_correlation(np.array([1.0, 2.0]), np.array([0, 0]))
    assert got == pytest.approx((4 + 5) / 22)


def test_nothing_known_is_the_prior_and_certainty_is_never_believed():
    assert shrunk_correlation(np.zeros(3), np.full(3, -1)) == 0.25
    assert shrunk_copy_rate(np.full(3, -1), np.array([0, 0, 1])) == 0.25
    scores = np.repeat(np.linspace(-9, 9, 200), 50)
    assert shrunk_correlation(scores, np.repeat(np.arange(200), 50)) == MOST_RATE


@pytest.mark.source("mixture by construction", "a case has its cause's token with rate r, else any")
@pytest.mark.parametrize("rate", [0.1, 0.4, 0.8])
def test_the_presence_rate_that_was_drawn_is_found_again(rate):
    rng = np.random.default_rng(6)
    causes = np.repeat(np.arange(600), 6)
    own = (rng.random(600) < 0.2)[causes]
    shared = rng.random(3600) < np.sqrt(rate)
    there = np.where(shared, own, rng.random(3600) < 0.2)
    counts = np.bincount(causes, weights=there).astype(np.int64)
    got = shrunk_presence_rate(copied(counts, np.full(600, 6)), prior=0.2)
    assert got == pytest.approx(rate, abs=0.06)


@pytest.mark.source(
    "by hand", "both of 2 of 4 cases: (2 - .5 * 2) / .5 = 2 pairs; (2 + 2) / (2 + 20)"
)
def test_few_tokens_stay_near_their_prior():
    got = shrunk_presence_rate(copied(np.array([2, 0]), np.array([2, 2])), prior=0.1)
    assert got == pytest.approx((2 + 2) / 22)
    assert shrunk_presence_rate(copied(np.array([0]), np.array([1])), prior=0.3) == pytest.approx(
        0.3
    )


def a_scale(n_cases):
    rng = np.random.default_rng(5)
    values = np.concatenate([rng.normal(0, 1, 500), rng.normal(6, 1, 500)])
    groups = ("small",) * 500 + ("large",) * 500
    return fit_scale(values, np.full(1000, -1), groups=groups, n_cases=n_cases)


def test_a_value_usual_for_its_vehicle_group_is_no_oddity_in_a_large_memory():
    scale = a_scale(CENTRING_CASES)
    assert abs(scale.score(6.0, "large")) < 0.35
    assert scale.score(6.0, "small") > 1.0


def test_a_small_memory_knows_no_vehicle_groups():
    scale = a_scale(CENTRING_CASES - 1)
    assert scale.score(6.0, "large") == scale.score(6.0, "small")
    assert scale.offsets == {}


@pytest.mark.parametrize("n_cases", [10, CENTRING_CASES])
def test_another_unit_changes_no_score(n_cases):
    values, causes = drawn(0.3, causes=20)
    groups = ("a", "b") * 50
    here = fit_scale(values, causes, groups=groups, n_cases=n_cases)
    there = fit_scale(values * 6.894757 + 3, causes, groups=groups, n_cases=n_cases)
    assert np.array_equal(here.scores, there.scores)
    assert here.score(0.7, "a") == there.score(0.7 * 6.894757 + 3, "a")
    assert here.correlation == there.correlation
