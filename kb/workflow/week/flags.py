"""Since when a row has been flagged: the same rule as it would have answered in earlier weeks.

No review of an earlier week is needed for it, so that a shop that begins today has news at once,
and a row that lasts is not called new every week.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from kb.diagnosis.trends import ALERT, NEWS_WEEKS, WATCH
from kb.workflow.week.rows import Level

# How far back the beginning is looked for (our choice: half a year).
MOST_BACK: Final = 26
_RANK: Final = {WATCH: 1, ALERT: 2}
LEVELS: Final = {WATCH: Level.LOOK, ALERT: Level.ACT}
# Keeps the logarithm of a chance finite.
_LEAST_P: Final = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """How a row stands: ``since`` how many weeks ago it was flagged first, ``new`` if it is news."""

    name: str
    since: int
    new: bool

    @property
    def level(self) -> Level:
        """How pressing the row is: one that was flagged before is good to know."""
        return LEVELS[self.name] if self.new else Level.KNOW


def flags_of(
    now: Mapping[str, str], reviewed: Callable[[int], Mapping[str, str]], *, weeks: int
) -> dict[str, Flag]:
    """Return how each flagged row stands.

    News is a level that none of the 8 reviews before had, nor a higher one. Beyond those 8 a row
    is followed back for as long as every review had it.

    Parameters
    ----------
    now : mapping of key to flag
        The rows flagged in this review; ``ALERT`` or ``WATCH``.
    reviewed : callable
        Gives the same as of so many weeks ago.
    weeks : int
        How many weeks are known.
    """
    since = dict.fromkeys(now, 0)
    highest = dict.fromkeys(now, 0)
    lasting = set(now)
    for ago in range(1, min(MOST_BACK, weeks - 1) + 1):
        if ago > NEWS_WEEKS:
            lasting = {key for key in lasting if since[key] == ago - 1}
        if not lasting:
            break
        then = reviewed(ago)
        for key in lasting & then.keys():
            since[key] = ago
            if ago <= NEWS_WEEKS:
                highest[key] = max(highest[key], _RANK[then[key]])
    return {
        key: Flag(name=name, since=since[key], new=_RANK[name] > highest[key])
        for key, name in now.items()
    }


def strength(p: float | None) -> float:
    """Return how strong a row is: the number of zeros of the chance of as much by luck."""
    return 0.0 if p is None else -math.log10(max(p, _LEAST_P))


def flagged(rows: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Return the rows that are flagged at all, from key and flag of each."""
    return {key: name for key, name in rows if name in _RANK}
