import pytest
from scipy import stats

from kb.diagnosis.shares import more_often, share_bands


@pytest.mark.source("Fisher (1935), the lady tasting tea", "3 of 4 right: p = 17/70, from memory")
def test_fisher_and_the_lady():
    (tested,) = more_often([((3, 4), (1, 4))])
    assert tested.p == pytest.approx(17 / 70)


@pytest.mark.parametrize("row", [((4, 9), (1, 60)), ((0, 5), (3, 20)), ((5, 5), (0, 0))])
def test_many_are_tested_as_each_alone(row):
    (count, of), (other, others) = row
    table = [[count, of - count], [other, others - other]]
    expected = stats.fisher_exact(table, alternative="greater").pvalue
    found = more_often([row, ((1, 30), (2, 40))])
    assert found[0].p == pytest.approx(expected)


def test_one_bad_supplier_among_many_is_found_and_small_ones_cannot_tell():
    even = [((1, 30), (20, 600))] * 30
    bad, *rest = more_often([((7, 12), (20, 600)), *even])
    assert bad.found
    assert not any(row.found for row in rest)
    (small,) = more_often([((2, 2), (1, 3))])
    assert not small.found
    assert more_often([]) == ()


def test_the_band_leaves_out_as_much_as_three_deviations_do():
    ((low, high),) = share_bands(0.3, [50])
    assert stats.binom.sf(high, 50, 0.3) <= 0.00135 < stats.binom.sf(high - 1, 50, 0.3)
    assert stats.binom.cdf(low - 1, 50, 0.3) <= 0.00135 < stats.binom.cdf(low, 50, 0.3)
    assert share_bands(0.0, [20]) == ((0, 0),)
