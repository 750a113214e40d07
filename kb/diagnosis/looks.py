"""Going to look: the order of looks by chance over minutes, and when a look beats a check."""

from collections.abc import Container, Iterable, Sequence
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.access import Work
from kb.diagnosis.chances import CauseChance

Floats = NDArray[np.float64]


def chances_left(
    chances: Iterable[CauseChance], causes: Sequence[str], *, gone: Container[str] = ()
) -> Floats:
    """Return the chances of ``causes``, those that a look ruled out at 0; they sum to 1.

    "Something else" is left out: there is nothing to go and look at.
    """
    by = {row.cause: row.chance for row in chances}
    left = np.array([0.0 if cause in gone else by.get(cause, 0.0) for cause in causes])
    return np.asarray(left / left.sum(), np.float64)


def look_order(chances: Floats, work: Work) -> NDArray[np.int64]:
    """Return the causes in the order of least expected minutes, best first, ties by position.

    Looks go by chance over minutes. Looks behind one access that is not open yet are one block:
    the leading ones of them whose summed chance over the opening and their minutes is largest
    go together at that ratio, the others follow at their own. Exact for one cause at work and
    looks that settle it.

    Parameters
    ----------
    chances : array of shape (n_causes,)
        Of each cause.
    work : Work
        The look that verifies each.

    References
    ----------
    Heckerman, Breese & Rommelse (1995), Decision-theoretic troubleshooting, for p/C; Horn (1972),
    Single-machine job sequencing with treelike precedence ordering and linear delay penalties,
    for the blocks (both from memory).

    Examples
    --------
    >>> from kb.diagnosis.access import work_of
    >>> look_order(np.array([0.5, 0.3, 0.2]), work_of([50.0, 10.0, 10.0])).tolist()
    [1, 2, 0]
    """
    # Looks are few: lists of them cost a third of what arrays do.
    own, access = (chances / work.minutes).tolist(), work.access.tolist()
    worth = own.copy()
    for number, opening in enumerate(work.opening.tolist()):
        behind = [at for at, one in enumerate(access) if one == number] if opening > 0 else []
        if behind:
            behind.sort(key=lambda at: -own[at])
            spent = accumulate(work.minutes[behind].tolist())
            shares = accumulate(chances[behind].tolist())
            ratios = [share / (opening + some) for share, some in zip(shares, spent, strict=True)]
            best = max(ratios)
            most = len(ratios) - ratios[::-1].index(best)
            for place, at in enumerate(behind):
                worth[at] = best if place < most else min(own[at], best)
    order = sorted(range(len(own)), key=lambda at: (-worth[at], access[at], -own[at]))
    return np.array(order, np.int64)


def expected_minutes(chances: Floats, work: Work) -> float:
    """Return the minutes to expect until the cause is found by looks in that order.

    ``sum_i m_i (1 - sum_{j<i} p_j)``: a look is made while the cause is not found yet; an opening
    is paid with the first look behind it.

    Examples
    --------
    >>> from kb.diagnosis.access import work_of
    >>> round(expected_minutes(np.array([0.5, 0.5]), work_of([10.0, 20.0])), 6)
    20.0
    """
    order = look_order(chances, work)
    found = np.cumsum(chances[order])
    return float(work.total(order) @ (1 - np.concatenate([[0.0], found[:-1]])))


def minutes_after(chances: Floats, shares: Floats, work: Work) -> float:
    """Return the minutes of looking to expect after a check, over its outcomes.

    Parameters
    ----------
    chances : array of shape (n_causes,)
        Chance of each cause.
    shares : array of shape (n_causes, n_outcomes)
        P(outcome | cause).
    work : Work
        The look that verifies each cause, with what the check opened.
    """
    joint = chances[:, None] * shares
    total = joint.sum(axis=0)
    return sum(
        float(total[at]) * expected_minutes(joint[:, at] / total[at], work)
        for at in np.flatnonzero(total > 0)
    )
