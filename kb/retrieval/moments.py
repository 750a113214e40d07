"""What one field is worth between two cases of one cause, estimated by moments and shrunk.

The estimators pool all causes, weigh a cause by its recorded cases and shrink by 20 pseudo-cases
to what is thought before any are counted, so that a field with few cases keeps its prior (science of record linkage; the numbers
were measured on invented shops, see the tests).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.columns import Named
from kb.retrieval.levels import Sorted
from kb.retrieval.similarity import READING_CORRELATION, normal_score, normal_scores

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

# Pseudo-cases of the shrinkage and the limits of what is believed; on the invented shops 10 and 40
# do as well as 20, and 60 is worse (first case right .62 against .68).
PSEUDO_CASES: Final = 20.0
LEAST_RATE: Final = 0.02
MOST_RATE: Final = 0.9
# Vehicle groups are centred from this many cases on, their means shrunk by four pseudo-cases;
# below it the group means cost more than they give (measured at 300 and 3,000 cases).
CENTRING_CASES: Final = 800
_GROUP_CASES: Final = 4.0
# Fewer recorded values than this give no normal score (our choice).
LEAST_VALUES: Final = 3


def _believed(rate: float) -> float:
    return float(np.clip(rate, LEAST_RATE, MOST_RATE))


def shrunk_correlation(scores: Floats, causes: Codes) -> float:
    """Return the correlation of a reading between two cases of one cause.

    ``(sum_c ((sum z)^2 - sum z^2) / (m_c - 1) + 20 * .25) / (sum_c m_c + 20)`` over the causes
    with two recorded cases or more, held between .02 and .9.

    Parameters
    ----------
    scores : array of shape (n_values,)
        Normal scores.
    causes : array of shape (n_values,)
        Number of the cause of each, -1 where it has none.
    """
    known = causes >= 0
    if not known.any():
        return READING_CORRELATION
    size = int(causes.max()) + 1
    m = np.bincount(causes[known], minlength=size).astype(np.float64)
    total = np.bincount(causes[known], weights=scores[known], minlength=size)
    square = np.bincount(causes[known], weights=scores[known] ** 2, minlength=size)
    many = m >= 2
    products = ((total**2 - square)[many] / (m[many] - 1)).sum()
    prior = PSEUDO_CASES * READING_CORRELATION
    return _believed((products + prior) / (m[many].sum() + PSEUDO_CASES))


def shrunk_copy_rate(values: Codes, causes: Codes) -> float:
    """Return the copy rate of a field with a fixed set of values.

    Two cases of one cause agree with chance ``r + (1 - r) s``, s the sum of the squared shares of
    the values; the agreement of all such pairs gives r, shrunk and held as a correlation is.
    """
    known = (causes >= 0) & (values >= 0)
    values, causes = values[known], causes[known]
    if not len(values):
        return READING_CORRELATION
    table = np.zeros((int(causes.max()) + 1, int(values.max()) + 1))
    np.add.at(table, (causes, values), 1.0)
    shares = table.sum(axis=0) / table.sum()
    chance = float(shares @ shares)
    m = table.sum(axis=1)
    many = m >= 2
    if chance >= 1 or not many.any():
        return READING_CORRELATION
    agree = ((table * (table - 1)).sum(axis=1)[many] / (m[many] - 1)).sum()
    copied = (agree - m[many].sum() * chance) / (1 - chance)
    prior = PSEUDO_CASES * READING_CORRELATION
    return _believed((copied + prior) / (m[many].sum() + PSEUDO_CASES))


class Copied(NamedTuple):
    """How often a token is there, among causes with two cases or more, and beyond chance."""

    beyond_chance: float
    having: float


NEVER: Final = Copied(0.0, 0.0)


def copied(counts: Codes, sizes: Codes) -> Copied:
    """Return what the copy rate of a token that a case has or does not mention follows from.

    ``(sum_c n_c (n_c - 1) / (m_c - 1) - p n) / (1 - p)`` pairs beyond chance over the causes with
    two cases or more, p the share of all cases with the token, and n.

    Parameters
    ----------
    counts, sizes : arrays of shape (n_causes,)
        Cases of each cause with the token (n_c), and all its cases (m_c).
    """
    many = sizes >= 2
    n, m = counts[many].astype(np.float64), sizes[many]
    share = float(counts.sum()) / max(1, int(sizes.sum()))
    beyond = 0.0
    if share < 1:
        beyond = (float((n * (n - 1) / (m - 1)).sum()) - share * float(n.sum())) / (1 - share)
    return Copied(beyond, float(n.sum()))


def shrunk_presence_rate(found: Copied, *, prior: float) -> float:
    """Return the copy rate of a token that a case has or does not mention.

    The pairs beyond chance, shrunk by 20 pseudo-cases to ``prior``, what is thought before any are
    counted, and held between .02 and .9.
    """
    return _believed((found.beyond_chance + PSEUDO_CASES * prior) / (found.having + PSEUDO_CASES))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """One quantity over all cases: how a value becomes a normal score, and what it is worth.

    ``offsets`` holds the shrunk mean score of each vehicle group, empty where none is centred.
    """

    population: Sorted
    centred: Sorted
    scores: NDArray[np.float32]
    offsets: Mapping[str, float]
    correlation: float

    @property
    def usable(self) -> bool:
        """Whether there are values enough for a normal score to mean anything."""
        return len(self.population) >= LEAST_VALUES

    def score(self, value: float, group: str) -> float:
        """Return the normal score of ``value`` in a vehicle of ``group``."""
        raw = normal_score(value, self.population)
        if self.offsets:
            raw = normal_score(raw - self.offsets.get(group, 0.0), self.centred)
        return raw

    def score_all(self, values: Floats, groups: Sequence[str]) -> Floats:
        """Return the normal score of each value, in a vehicle of the group beside it."""
        raw = normal_scores(values, self.population)
        if not self.offsets:
            return raw
        moved = raw - np.array([self.offsets.get(group, 0.0) for group in groups])
        return normal_scores(moved, self.centred)


def fit_scale(
    values: Floats, causes: Codes, *, groups: Sequence[str | None], n_cases: int
) -> Scale:
    """Return the scale of a quantity from its recorded values.

    Parameters
    ----------
    values, causes : arrays of shape (n_values,)
        As recorded; the number of the cause, -1 for none.
    groups : sequence of str
        Vehicle group of each, "" where unknown.
    n_cases : int
        Size of the whole memory: groups are centred from 1,000 cases on.
    """
    population = np.sort(values)
    scores = normal_scores(values, population)
    named = groups if isinstance(groups, Named) else Named.of(groups)
    offsets, by_value = _offsets(scores, named) if n_cases >= CENTRING_CASES else ({}, scores)
    centred: Floats = population
    if offsets:
        moved = scores - by_value
        centred = np.sort(moved)
        scores = normal_scores(moved, centred)
    return Scale(
        population=population,
        centred=centred,
        scores=scores.astype(np.float32),
        offsets=offsets,
        correlation=shrunk_correlation(scores, causes),
    )


def _offsets(scores: Floats, groups: Named) -> tuple[dict[str, float], Floats]:
    """Return the offset of each group that a value has, and that of each value."""
    # The last one stands for no group.
    names = (*groups.names, "")
    codes = groups.codes.astype(np.int64) % len(names)
    total = np.bincount(codes, weights=scores, minlength=len(names))
    count = np.bincount(codes, minlength=len(names))
    means = total / (count + _GROUP_CASES)
    means[[not name for name in names]] = 0.0
    found = {name: float(means[at]) for at, name in enumerate(names) if name and count[at]}
    return found, means[codes]
