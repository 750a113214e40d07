"""The cases whose words are read for what a cause is told with: all, or of very many an even share."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.sample import SEED, Sample

Codes = NDArray[np.int64]

# Cases whose words are read (our choice: on 100,000 invented cases of 2,000 causes the words alone
# led to the right cause of 400 questions in .36, .42, .40 and .28 of them when 10,000, 20,000, 50,000
# and all were read, with all other evidence in .94, .96, .95 and .94).
MOST_TOLD: Final = 20_000


def most_of_each(sizes: Codes, most: int) -> int:
    """Return the largest number that may be taken of each cause so that ``most`` are taken in all.

    At least 1, so that no cause is left out.

    Examples
    --------
    >>> most_of_each(np.array([2, 5, 9]), 12), most_of_each(np.array([2, 5, 9]), 1)
    (5, 1)
    """
    fits, over = 1, int(sizes.max(initial=0)) + 1
    while over - fits > 1:
        middle = (fits + over) // 2
        if np.minimum(sizes, middle).sum() <= most:
            fits = middle
        else:
            over = middle
    return fits


def told_sample(causes: Codes, most: int = MOST_TOLD) -> tuple[NDArray[np.bool_], Sample]:
    """Return which cases are read: all up to ``most``, else as many of each cause as fit in.

    Which of a cause are taken is drawn with a fixed seed; all of a rare one are.

    Parameters
    ----------
    causes : array of shape (n_cases,)
        Number of the cause of each case, -1 for none; of those none is read.
    most : int
        Cases read in all.
    """
    taken = causes >= 0
    among = int(taken.sum())
    if among <= most:
        return taken, Sample(taken=among, among=among)
    drawn = np.random.default_rng(SEED).permutation(np.flatnonzero(taken))
    drawn = drawn[np.argsort(causes[drawn], kind="stable")]
    sizes = np.bincount(causes[drawn])
    place = np.arange(len(drawn)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    taken[drawn[place >= most_of_each(sizes, most)]] = False
    how = f"of each cause the same number or all it has, drawn with seed {SEED}"
    return taken, Sample(taken=int(taken.sum()), among=among, how=how)
