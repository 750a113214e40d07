import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kb.diagnosis.rates import (
    chart_limits,
    difference_test,
    exact_interval,
    poisson_limits,
    predictive_p,
    rate_ratio,
    shrunken_shares,
    two_rate_p,
)

HALF_PROMILLE = 0.00135


@pytest.mark.source("R, poisson.test", "c(11, 21) over c(800, 3011); printed values from memory")
def test_the_ratio_of_two_rates_is_that_of_another_program():
    found = rate_ratio(11, 21, first_exposure=800, second_exposure=3011)
    assert found.ratio == pytest.approx(1.971488, abs=5e-7)
    # That program's own interval, by the same binomial test of 11 in 32 (by scipy).
    limits = stats.binomtest(11, 32).proportion_ci()
    assert found.low == pytest.approx(limits.low / (1 - limits.low) * 3011 / 800)
    assert found.high == pytest.approx(limits.high / (1 - limits.high) * 3011 / 800)


@pytest.mark.source("R, poisson.test", "two-sided p .07967 of the same call, from memory")
def test_the_binomial_under_both_rates_the_same_gives_the_published_two_sided_p():
    share = 800 / 3811
    p = two_rate_p(11, 21, recent_exposure=800, before_exposure=3011)
    # Two-sided: every count at most as likely as the one seen; 2 and fewer on the other side.
    seen = stats.binom.pmf(11, 32, share)
    other = sum(q for k in range(7) if (q := stats.binom.pmf(k, 32, share)) <= seen)
    assert p + other == pytest.approx(0.07967, abs=5e-6)


@pytest.mark.source(
    "SciPy documentation", "poisson_means_test(0, 100, 3, 100) = .0884, from memory"
)
def test_no_events_against_three_is_no_proof_in_the_published_example():
    assert stats.poisson_means_test(0, 100, 3, 100).pvalue == pytest.approx(0.0884, abs=5e-5)
    # Our conditional test is the more careful of the two: one half to the third power.
    p = two_rate_p(3, 0, recent_exposure=100, before_exposure=100)
    assert p == pytest.approx(0.125)
    assert p > 0.0884 / 2


@pytest.mark.source("by hand", "9 in 4 weeks against 14 in 48: Bin(23, 1/13), the sum of its tail")
def test_nine_in_four_weeks_after_fourteen_in_a_year_is_no_chance():
    tail = sum(math.comb(23, k) * (1 / 13) ** k * (12 / 13) ** (23 - k) for k in range(9, 24))
    p = two_rate_p(9, 14, recent_exposure=4, before_exposure=48)
    assert p == pytest.approx(tail)
    assert f"{p:.2e}" == "2.84e-05"


@pytest.mark.source("by hand", "(8/60)^n: .0024 for 3 of 3, .0003 for 4 of 4")
@pytest.mark.parametrize(("n", "least"), [(3, 0.0024), (4, 0.0003)])
def test_the_least_p_that_so_few_events_can_reach(n, least):
    p = two_rate_p(n, 0, recent_exposure=8, before_exposure=52)
    assert p == pytest.approx((8 / 60) ** n)
    assert round(p, 4) == least


def test_no_recent_event_speaks_for_no_rise():
    assert two_rate_p(0, 9, recent_exposure=8, before_exposure=52) == 1.0


@pytest.mark.source("by hand", "the posterior Gamma(1 + b, 1/mean + B) summed over the Poisson")
def test_the_predictive_chance_is_a_poisson_over_all_rates_that_the_past_allows():
    given_rates = stats.gamma(1 + 5, scale=1 / (1 / 0.1 + 52))
    whole = given_rates.expect(lambda rate: stats.poisson.sf(3, rate * 8), epsabs=1e-12)
    p = predictive_p(4, 5, recent_exposure=8, before_exposure=52, mean=0.1)
    assert p == pytest.approx(whole, rel=1e-6)


@pytest.mark.source("by hand", "no past: P(X >= 1) = 1 - 1/mean / (1/mean + w)")
def test_a_row_without_a_past_is_judged_by_its_kind():
    p = predictive_p(1, 0, recent_exposure=8, before_exposure=0, mean=0.25)
    assert p == pytest.approx(1 - 4 / 12)


@given(st.integers(1, 30), st.integers(0, 60))
def test_a_season_that_expects_more_doubts_a_rise_more(recent, before):
    def p(factor):
        return predictive_p(
            recent, before, recent_exposure=8 * factor, before_exposure=52, mean=0.2
        )

    assert p(0.5) <= p(1.0) <= p(2.0)


@given(st.integers(1, 30), st.integers(0, 60))
def test_one_event_more_is_never_less_of_a_sign(recent, before):
    one = predictive_p(recent, before, recent_exposure=8, before_exposure=52, mean=0.2)
    more = predictive_p(recent + 1, before, recent_exposure=8, before_exposure=52, mean=0.2)
    assert more < one <= 1


@pytest.mark.source("Garwood (1936)", "9 in 4 weeks: 1.03 to 4.27 a week; computed by chi-square")
def test_the_ratio_against_a_rate_known_for_sure_has_the_limits_of_one_rate():
    found = rate_ratio(9, 10**9, first_exposure=4, second_exposure=10**9)
    assert found.low == pytest.approx(stats.chi2.ppf(0.025, 18) / 8, rel=1e-3)
    assert (round(found.low, 2), round(found.high, 2)) == (1.03, 4.27)


@given(st.integers(0, 40), st.integers(0, 40))
def test_a_ratio_lies_within_its_interval(first, second):
    found = rate_ratio(first, second, first_exposure=8, second_exposure=52)
    if found.ratio is None:
        assert (first, second) == (0, 0)
        assert (found.low, found.high) == (0.0, math.inf)
    else:
        assert 0 <= found.low <= found.ratio <= found.high
        assert (found.high == math.inf) == (second == 0)


@given(st.integers(0, 40), st.integers(0, 40))
def test_an_exact_interval_contains_its_share(count, more):
    low, high = exact_interval(count, count + more)
    assert 0 <= low <= high <= 1
    if count + more:
        assert low <= count / (count + more) <= high
    else:
        assert (low, high) == (0.0, 1.0)


@pytest.mark.source("by hand", "0 of 10: 1 - .025^(1/10) = .3085")
def test_none_of_ten_leaves_room_for_three():
    assert exact_interval(0, 10) == pytest.approx((0.0, 1 - 0.025**0.1))


@pytest.mark.source("by hand", "tails of the Poisson distribution summed until .00135")
@pytest.mark.parametrize(("mean", "many"), [(0.5, 5), (1, 6), (2, 8), (4, 12), (9, 20), (16, 30)])
def test_the_fewest_that_are_too_many(mean, many):
    few, found = poisson_limits(mean, HALF_PROMILLE)
    assert found == many

    def at_least(k):
        below = sum(math.exp(-mean) * mean**j / math.factorial(j) for j in range(k))
        return 1 - below

    assert at_least(many) <= HALF_PROMILLE < at_least(many - 1)
    if few is None:
        assert math.exp(-mean) > HALF_PROMILLE
    else:
        assert 1 - at_least(few + 1) <= HALF_PROMILLE < 1 - at_least(few + 2)


# With rounding: 1.44 % is 1 - P(X <= 2), as three sigma of .5 are 2.62 events.
@pytest.mark.source("by hand", "1 - P(X <= mean + 3 sqrt(mean)): 2.65, 1.44, .37, .45, .24 %")
@pytest.mark.parametrize(
    ("mean", "percent"), [(0.25, 2.65), (0.5, 1.44), (1, 0.37), (2, 0.45), (9, 0.24)]
)
def test_three_sigma_cry_wolf_at_small_means_and_our_limits_do_not(mean, percent):
    wolf = stats.poisson.sf(math.floor(mean + 3 * math.sqrt(mean)), mean)
    assert round(100 * wolf, 2) == percent
    limits = chart_limits(mean, 1)
    if mean < 9:
        assert stats.poisson.sf(math.floor(limits.high), mean) <= HALF_PROMILLE


@pytest.mark.source("by hand", "9 expected over 3: 3 a unit, 3 sqrt(3/3) = 3; 4 over 2: at most 11")
def test_a_chart_changes_from_exact_limits_to_three_sigma_at_nine_expected():
    wide = chart_limits(3.0, 3.0)
    assert (wide.low, wide.centre, wide.high) == (0.0, 3.0, 6.0)
    exact = chart_limits(2.0, 2.0)
    assert (exact.low, exact.high) == (0.0, 5.5)


def test_the_band_of_a_chart_holds_its_centre():
    for exposure in (1, 5, 20, 50, 200):
        limits = chart_limits(0.1, exposure)
        assert limits.low <= limits.centre <= limits.high


@pytest.mark.source(
    "Fisher (1935), the lady tasting tea", "3 of 4 right: two-sided .4857, from memory"
)
def test_the_lady_who_tastes_three_cups_right_may_be_guessing():
    assert difference_test((3, 4), (1, 4), least=4) == pytest.approx(0.4857, abs=5e-5)


def test_under_ten_each_is_too_few_to_tell():
    assert difference_test((9, 9), (0, 50)) is None
    assert difference_test((10, 10), (0, 50)) is not None


# Groups of one size: the two-sided p is twice the one-sided.
@pytest.mark.source("by hand", "both binomials summed where Fisher's one-sided p is .05 or less")
@pytest.mark.parametrize(
    ("high", "low", "n", "power"),
    [
        (0.30, 0.05, 10, 0.226),
        (0.30, 0.05, 20, 0.544),
        (0.30, 0.05, 30, 0.745),
        (0.40, 0.05, 10, 0.426),
        (0.40, 0.05, 20, 0.808),
    ],
)
def test_how_often_so_few_repairs_show_a_difference(high, low, n, power):
    a, b = stats.binom.pmf(range(n + 1), n, high), stats.binom.pmf(range(n + 1), n, low)
    seen = 0.0
    for i in range(n + 1):
        for j in range(i):
            p = difference_test((i, n), (j, n))
            assert p is not None
            assert p == pytest.approx(min(1, 2 * stats.hypergeom.sf(i - 1, 2 * n, i + j, n)))
            seen += a[i] * b[j] * (p <= 0.1 + 1e-9)
    assert seen == pytest.approx(power, abs=5e-4)


def test_a_share_with_little_behind_it_is_drawn_further_to_the_common_one():
    shares = shrunken_shares([1, 10, 5, 60], [2, 20, 100, 400])
    few, many = shares[0], shares[1]
    assert 0.16 < few.share < many.share < 0.5
    assert few.high - few.low > many.high - many.low
    for row in shares:
        assert 0 < row.low < row.share < row.high < 1


def test_shares_alike_are_drawn_together_and_shares_apart_left_where_they_are():
    alike = shrunken_shares([5, 5, 5], [50, 50, 50])
    apart = shrunken_shares([1, 25, 49], [50, 50, 50])
    assert max(row.share for row in alike) - min(row.share for row in alike) < 1e-9
    assert apart[2].share - apart[0].share > 0.85


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=1, max_size=6))
def test_a_shrunken_share_lies_between_its_own_and_the_common_one(rows):
    counts, ofs = [k for k, _ in rows], [k + more for k, more in rows]
    found = shrunken_shares(counts, ofs)
    if not sum(ofs):
        assert found == ()
        return
    common = (sum(counts) + 0.5) / (sum(ofs) + 1)
    for count, of, row in zip(counts, ofs, found, strict=True):
        own = count / of if of else common
        assert min(own, common) - 1e-9 <= row.share <= max(own, common) + 1e-9


def test_nothing_counted_has_no_shares():
    assert shrunken_shares([], []) == ()
