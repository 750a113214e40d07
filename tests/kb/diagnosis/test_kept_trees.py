import numpy as np
import pytest

from kb.diagnosis.kept_trees import tree_arrays, trees_of
from kb.diagnosis.links import Recorded, fit_trees

SIZES = np.array([2, 3, 2, 2])


def recorded(size=200):
    """The second and third finding follow the first, the last is for itself."""
    rng = np.random.default_rng(11)
    first = rng.integers(2, size=size)
    codes = np.stack([first, first + (rng.random(size) < 0.2), first, rng.integers(2, size=size)])
    return Recorded(
        codes=codes.T,
        sizes=SIZES,
        causes=np.arange(size) % 2,
        weights=np.ones(size),
        n_causes=2,
    )


@pytest.mark.parametrize("seen", [[0, -1, -1, 1], [1, 2, -1, -1], [-1, -1, -1, -1], [1, 0, 1, 0]])
def test_trees_read_findings_to_the_last_bit_as_before_they_were_arrays(seen):
    fitted = fit_trees(recorded())
    assert len(fitted.levels) > 1
    found = trees_of(tree_arrays(fitted))
    mine, theirs = found.read(np.array(seen)), fitted.read(np.array(seen))
    assert np.array_equal(mine.together, theirs.together)
    assert np.array_equal(mine.shares, theirs.shares)
    assert np.array_equal(found.together(np.array(seen)), fitted.together(np.array(seen)))
    assert found.n_trees == fitted.n_trees


def test_trees_of_findings_that_have_nothing_to_do_with_each_other_come_back():
    rng = np.random.default_rng(2)
    apart = Recorded(
        codes=rng.integers(2, size=(40, 2)),
        sizes=np.array([2, 2]),
        causes=np.arange(40) % 2,
        weights=np.ones(40),
        n_causes=2,
    )
    fitted = fit_trees(apart)
    found = trees_of(tree_arrays(fitted))
    assert found.roots.tolist() == fitted.roots.tolist()
    assert len(found.levels) == len(fitted.levels)
