"""Which check next, and when to stop checking: blocks behind one access, bits for each minute."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.access import Work
from kb.diagnosis.information import information_gains, joint_shares
from kb.diagnosis.looks import expected_minutes, minutes_after

Floats = NDArray[np.float64]

# Checks that are reckoned together behind one access, at most: the table of their outcomes grows
# with each (our choice).
MOST_TOGETHER: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """Checks, by number, that are done together: one, or several behind an access not open yet.

    ``bits`` is what they tell together, ``minutes`` the opening and their own; ``shares`` is
    P(outcomes | cause), shape ``(n_causes, n_outcomes)``.
    """

    checks: tuple[int, ...]
    bits: float
    minutes: float
    shares: Floats

    @property
    def worth(self) -> float:
        """Information for each minute."""
        return self.bits / self.minutes


def blocks_by_worth(chances: Floats, tables: Sequence[Floats], work: Work) -> tuple[Block, ...]:
    """Return every check in one block, most information for each minute first, ties by number.

    Parameters
    ----------
    chances : array of shape (n_causes,)
        Sum to 1.
    tables : sequence of arrays of shape (n_causes, n_outcomes)
        P(outcome | cause) of each check.
    work : Work
        Minutes and access of each check.
    """
    gains, alone = information_gains(chances, tables), work.alone
    single = [
        Block(checks=(at,), bits=float(gains[at]), minutes=float(alone[at]), shares=table)
        for at, table in enumerate(tables)
    ]
    joined = [
        _best_together(chances, [single[at] for at in np.flatnonzero(work.access == number)], work)
        for number in np.flatnonzero(work.opening > 0)
        if np.count_nonzero(work.access == number) > 1
    ]
    inside = {at for block in joined for at in block.checks}
    rows = [*joined, *(block for block in single if block.checks[0] not in inside)]
    return tuple(sorted(rows, key=lambda block: (-block.worth, block.checks)))


def _best_together(chances: Floats, behind: Sequence[Block], work: Work) -> Block:
    """Return the checks behind one access that tell most a minute together with its opening."""
    best = max(behind, key=lambda block: block.worth)
    while len(best.checks) < MOST_TOGETHER:
        others = [block for block in behind if block.checks[0] not in best.checks]
        wider = _wider(chances, best, others, work=work)
        found = max(wider, key=lambda block: block.worth, default=best)
        if found.worth <= best.worth:
            break
        best = found
    return best


def _wider(chances: Floats, first: Block, others: Sequence[Block], *, work: Work) -> list[Block]:
    """Return a block with each of ``others`` done after it, behind the same access."""
    tables = [joint_shares(first.shares, other.shares) for other in others]
    added = [other.checks[0] for other in others]
    gains = information_gains(chances, tables)
    return [
        Block(
            checks=(*first.checks, at),
            bits=float(bits),
            minutes=first.minutes + float(work.minutes[at]),
            shares=table,
        )
        for at, bits, table in zip(added, gains, tables, strict=True)
    ]


def better_to_look(chances: Floats, best: Block, *, checks: Work, looks: Work) -> bool:
    """Return whether going to look costs no more than the best block and the looks after it.

    ``m + sum_v P(v) E(p | v) >= E(p)`` with E the expected minutes of looking in the best order;
    what the block opens is open for the looks after it. A rule of one step ahead.

    Parameters
    ----------
    chances : array of shape (n_causes,)
        Sum to 1.
    best : Block
        The first of ``blocks_by_worth``.
    checks, looks : Work
        Of the checks, and of the look that verifies each cause, with accesses numbered alike.
    """
    after = looks.open(int(checks.access[best.checks[0]]))
    further = best.minutes + minutes_after(chances, best.shares, after)
    return further >= expected_minutes(chances, looks)
