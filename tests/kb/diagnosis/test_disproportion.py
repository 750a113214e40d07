import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kb.diagnosis.disproportion import (
    FIXED,
    Cell,
    Mixture,
    chance_of_more,
    chi_square,
    fit_prior,
    information_component,
    least_chance,
    mark,
    odds_ratio,
    reporting_ratio,
    shrunken_ratio,
)

# The prior that the vignette prints, and which of its numbers belongs to which half.
VIGNETTE = Mixture(
    shape=3.25379356,
    rate=0.39988854,
    other_shape=2.02612692,
    other_rate=1.90807970,
    weight=0.06534557,
)
COUNTS = st.integers(0, 60)
CELLS = st.builds(Cell, both=COUNTS, group_only=COUNTS, cause_only=COUNTS, neither=COUNTS)
RIFABUTIN = Cell(both=41, group_only=14, cause_only=754, neither=591_958)


@pytest.mark.source("openEBGM, package vignette", "EBGM, 5 % and 95 % quantile of printed pairs")
@pytest.mark.parametrize(
    ("cases", "expected", "printed"),
    [
        # Ours: 13.856, 15.686 and 30.836; theirs cut where ours round.
        (1, 0.0360548272, (2.23, 0.49, 13.85)),
        (1, 0.0002979738, (2.63, 0.52, 16.02)),
        (1, 0.0765792610, (1.92, 0.47, 11.77)),
        (16, 0.40643623, (23.26, 15.68, 33.48)),
        (19, 0.89690107, (16.78, 11.65, 23.55)),
        (6, 0.07866508, (18.28, 10.16, 30.83)),
    ],
)
def test_shrunken_ratios_are_those_of_the_published_example(cases, expected, printed):
    found = shrunken_ratio(cases, expected, VIGNETTE)
    assert (found.mean, found.low, found.high) == pytest.approx(printed, abs=0.0101)


@pytest.mark.source("Evans, Waller & Davis (2001)", "rifabutin and uveitis: PRR 586, from memory")
def test_the_reporting_ratio_of_the_published_example():
    assert reporting_ratio(RIFABUTIN) == pytest.approx(586.0, abs=0.05)


@pytest.mark.source(
    "Evans, Waller & Davis (2001)", "chi-square 22,736, from memory; 22,740 without a correction"
)
def test_chi_square_of_the_published_example_without_its_correction():
    found = chi_square(RIFABUTIN)
    assert found == pytest.approx(22_740, abs=0.5)


@pytest.mark.source(
    "vigicaen, help page of the information component", "IC025 of 12 in 5: .2542334"
)
def test_the_information_component_of_the_published_example():
    assert information_component(12, 5).low == pytest.approx(0.2542334, abs=5e-8)


@pytest.mark.source("SciPy", "contingency.odds_ratio, kind sample, and its normal interval")
def test_the_odds_ratio_is_that_of_a_reference_library():
    cell = Cell(both=12, group_only=40, cause_only=30, neither=400)
    other = stats.contingency.odds_ratio([[12, 40], [30, 400]], kind="sample")
    limits = other.confidence_interval()
    found = odds_ratio(cell)
    assert found is not None
    assert (found.ratio, found.low, found.high) == pytest.approx(
        (other.statistic, limits.low, limits.high)
    )


@pytest.mark.source("SciPy", "fisher_exact, alternative greater")
@given(CELLS)
def test_the_chance_of_more_is_that_of_fishers_test(cell):
    table = [[cell.both, cell.group_only], [cell.cause_only, cell.neither]]
    if cell.total:
        expected = stats.fisher_exact(table, alternative="greater").pvalue
        assert chance_of_more(cell) == pytest.approx(expected, abs=1e-9)
        assert least_chance(cell) <= chance_of_more(cell) + 1e-12


@given(CELLS)
def test_what_cannot_be_told_is_missing_and_never_zero(cell):
    ratio, odds = reporting_ratio(cell), odds_ratio(cell)
    assert (ratio is None) == (not cell.cause_only or not cell.both + cell.group_only)
    counts = (cell.both, cell.group_only, cell.cause_only, cell.neither)
    assert (odds is None) == (0 in counts)
    if odds is not None:
        assert odds.low < odds.ratio < odds.high
    assert (cell.expected is None) == (cell.total == 0)


def test_chi_square_of_an_empty_margin_is_missing():
    assert chi_square(Cell(both=0, group_only=0, cause_only=3, neither=9)) is None
    assert chi_square(Cell(both=0, group_only=2, cause_only=0, neither=9)) is None


@given(st.integers(0, 50), st.floats(0.01, 50))
def test_an_information_component_lies_within_its_interval(cases, expected):
    found = information_component(cases, expected)
    assert found.low < found.ratio
    assert found.ratio < found.high


@given(st.integers(0, 50), st.floats(0.01, 50))
def test_a_ratio_shrunk_by_two_of_two_is_a_plain_gamma(cases, expected):
    found = shrunken_ratio(cases, expected)
    plain = stats.gamma(2 + cases, scale=1 / (2 + expected))
    assert (found.low, found.high) == pytest.approx((plain.ppf(0.05), plain.ppf(0.95)))
    assert found.low < found.mean < found.high


@pytest.mark.source("DuMouchel (1999)", "the geometric mean over the posterior, here by summing")
def test_the_geometric_mean_of_a_mixture_is_that_of_its_density():
    ratios = np.geomspace(1e-4, 200, 200_001)
    prior = VIGNETTE.weight * stats.gamma.pdf(ratios, VIGNETTE.shape, scale=1 / VIGNETTE.rate) + (
        1 - VIGNETTE.weight
    ) * stats.gamma.pdf(ratios, VIGNETTE.other_shape, scale=1 / VIGNETTE.other_rate)
    weights = prior * stats.poisson.pmf(4, 0.6 * ratios) * ratios
    by_sum = np.exp(weights @ np.log(ratios) / weights.sum())
    assert shrunken_ratio(4, 0.6, VIGNETTE).mean == pytest.approx(by_sum, rel=1e-4)


def test_below_five_hundred_cells_the_prior_is_fixed():
    assert fit_prior([1] * 499, [1.0] * 499) == FIXED


def test_the_mixture_put_in_is_fitted_again():
    rng = np.random.default_rng(9)
    true = Mixture(shape=4.0, rate=0.5, other_shape=3.0, other_rate=3.0, weight=0.1)
    expected = rng.gamma(1.0, 2.0, 6000)
    high = rng.uniform(size=6000) < true.weight
    ratios = np.where(high, rng.gamma(4.0, 2.0, 6000), rng.gamma(3.0, 1 / 3, 6000))
    cases = rng.poisson(ratios * expected)
    found = fit_prior(cases.tolist(), expected.tolist())
    for count, due in ((0, 1.0), (3, 1.0), (10, 1.0), (12, 6.0)):
        ours, theirs = shrunken_ratio(count, due, found), shrunken_ratio(count, due, true)
        assert ours.mean == pytest.approx(theirs.mean, rel=0.15)
        assert ours.low == pytest.approx(theirs.low, rel=0.15)


def test_a_pair_far_beyond_its_margins_is_firm_and_three_by_luck_are_nothing():
    dull = [Cell(both=2, group_only=18, cause_only=48, neither=432)] * 40
    strong = Cell(both=12, group_only=8, cause_only=38, neither=442)
    lucky = Cell(both=4, group_only=16, cause_only=46, neither=434)
    two = Cell(both=2, group_only=0, cause_only=0, neither=498)
    marks = mark([strong, lucky, two, *dull])
    assert marks[:3] == ("firm", "", "")
    assert set(marks[3:]) == {""}


def test_a_pair_that_only_its_own_p_shows_is_worth_a_look():
    cell = Cell(both=6, group_only=15, cause_only=20, neither=460)
    assert 0.0002 < chance_of_more(cell) < 0.001
    other = Cell(both=10, group_only=90, cause_only=40, neither=360)
    assert mark([cell, *[other] * 600])[0] == "look"
    assert mark([cell, *[other] * 5])[0] == "firm"


def test_no_cells_have_no_marks():
    assert mark([]) == ()
