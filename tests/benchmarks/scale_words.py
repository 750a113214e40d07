"""Words by rank for invented cases: the demonstration's own, and a long tail."""

from collections import Counter
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kb.case.casefile import read_folder
from kb.case.terms import load_vocabulary
from kb.retrieval.analyzer import told_words
from kb.retrieval.features import CaseFeatures, case_features
from kb.store.migrate import bundled

Floats = NDArray[np.floating[Any]]

# Rank r comes up with 1 / (r + 20) and beyond a knee falls as its power 1.77, so that the vocabulary
# grows as the power 1 / 1.77 = .56 of the text: Gerlach & Altmann (2013), Stochastic model for the
# vocabulary growth in natural languages (from memory). With the knee at 600 a text as long as the
# demonstration's, 29,000 words, has as many different ones, 4,400. On three public sets of short
# work orders the last doubling grew as .47, .68 and .74.
_FLAT: Final = 20
_KNEE: Final = 600
_TAIL: Final = 1.77
# A million cases have some 230,000 of them.
MOST_WORDS: Final = 400_000


@cache
def seeds() -> tuple[CaseFeatures, ...]:
    """Return the features of the demonstration's cases."""
    words = load_vocabulary()
    return tuple(case_features(job, words) for job in read_folder(bundled("seed_cases"))[0])


def word_list(rng: np.random.Generator, size: int = MOST_WORDS) -> list[str]:
    """Return words by rank: the demonstration's own, the commonest first, then invented ones.

    An invented word is the head of one of them and the tail of another, as slips, endings and
    words run together are.
    """
    counts = Counter(word for case in seeds() for word in told_words(f"{case.said} {case.told}"))
    own = [word for word, _ in counts.most_common() if " " not in word]
    found = dict.fromkeys(own)
    long = [word for word in own if len(word) > 3]
    while len(found) < size:
        pairs = rng.integers(len(long), size=(size, 2)).tolist()
        cuts = rng.random((size, 2)).tolist()
        for (first, second), (head, tail) in zip(pairs, cuts, strict=True):
            one, other = long[first], long[second]
            made = one[: 2 + int(head * (len(one) - 2))] + other[2 + int(tail * (len(other) - 3)) :]
            found.setdefault(made)
    return list(found)[:size]


def rank_shares(size: int = MOST_WORDS) -> Floats:
    """Return the shares of all ranks up to each."""
    ranks = np.arange(1, size + 1, dtype=np.float64)
    weights = 1 / (ranks + _FLAT)
    tail = ranks > _KNEE
    weights[tail] = (ranks[tail] / _KNEE) ** -_TAIL / (_KNEE + _FLAT)
    shares: Floats = np.cumsum(weights) / weights.sum()
    return shares
