import pytest
from scipy import stats

from kb.diagnosis.group_shares import spread_p


@pytest.mark.source("Fleiss (1981), smokers among patients of four studies", "R, prop.test example")
def test_four_groups_of_a_textbook():
    # Quoted from memory: X-squared 12.6, 3 degrees of freedom, p 0.005585.
    assert spread_p([83, 90, 129, 70], [86, 93, 136, 82]) == pytest.approx(0.005585, abs=5e-7)


def test_two_groups_are_as_the_normal_test_of_two_shares():
    z = (20 / 50 - 10 / 50) / (0.3 * 0.7 * 2 / 50) ** 0.5
    assert spread_p([10, 20], [50, 50]) == pytest.approx(2 * stats.norm.sf(z))


@pytest.mark.parametrize(
    ("counts", "ofs"),
    [
        ((), ()),
        ((3,), (20,)),
        # All the same way, and nobody in a group.
        ((20, 20, 20), (20, 20, 20)),
        ((0, 5, 9), (0, 20, 20)),
        # Expects less than 5 in half the cells.
        ((1, 2, 3), (20, 20, 20)),
    ],
)
def test_where_the_test_does_not_hold_nothing_is_told(counts, ofs):
    assert spread_p(counts, ofs) is None
