"""Which cases something is learned from where all would take too long; said wherever it is used."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

# With which all samples are drawn: the same cases always give the same sample.
SEED: Final = 20261129


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """From how many of how many cases something was learned, and how they were chosen."""

    taken: int
    among: int
    how: str = ""

    @property
    def is_all(self) -> bool:
        """Return whether no case was left out."""
        return self.taken == self.among

    def as_values(self) -> dict[str, Any]:
        """Return it for a file."""
        return {"taken": self.taken, "among": self.among, "how": self.how}


def evenly_drawn(cases: Sequence[str], most: int) -> tuple[list[str], Sample]:
    """Return at most ``most`` of the cases, in their order, each as likely as any other."""
    if len(cases) <= most:
        return list(cases), Sample(taken=len(cases), among=len(cases))
    drawn = np.random.default_rng(SEED).choice(len(cases), most, replace=False)
    how = f"drawn at random, seed {SEED}"
    rows = np.sort(drawn).tolist()
    return [cases[row] for row in rows], Sample(taken=most, among=len(cases), how=how)
