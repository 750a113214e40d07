"""One word that stands for several: their initials (a/c, c/o), or the words run together."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np

# Words that one word may stand for, and how often they must stand together (our choice).
LENGTHS: Final = (2, 3)
LEAST_TOGETHER: Final = 2
# What each of the words gets beside the short word itself (our choice).
_SHARE: Final = 0.8
Neighbours = Callable[[Sequence[Sequence[str]], Mapping[str, int]], Any]


def runs(words: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """Yield the words that stand together, two and three at a time.

    Examples
    --------
    >>> list(runs(["air", "con", "warm"]))
    [('air', 'con'), ('con', 'warm'), ('air', 'con', 'warm')]
    """
    for length in LENGTHS:
        yield from (tuple(words[at : at + length]) for at in range(len(words) - length + 1))


def initials(run: Sequence[str]) -> str:
    """Return the first letters of words."""
    return "".join(word[0] for word in run)


def long_forms(
    told: Sequence[Sequence[str]],
    words: Mapping[str, int],
    *,
    neighbours: Neighbours,
    likeness: tuple[float, float],
) -> dict[tuple[int, int], float]:
    """Return (short word, word that it stands for) with a worth, one way only.

    Initials count where short and long form stand between the same neighbours, above the lower
    ``likeness`` and in full from the upper one; words run together count wherever they occur.
    """
    counts = Counter(run for row in told for run in runs(row))
    common = [run for run, n in counts.items() if n >= LEAST_TOGETHER]
    known = sorted(run for run in common if all(word in words for word in run))
    made = {
        (words["".join(run)], words[word]): _SHARE
        for run in known
        if "".join(run) in words
        for word in run
    }
    meant = [run for run in known if initials(run) in words and initials(run) not in run]
    least, full = likeness
    for run, value in zip(meant, _alike(told, words, (meant, neighbours)), strict=True):
        worth = _SHARE * min(1.0, value / full)
        for word in run if value >= least else ():
            pair = words[initials(run)], words[word]
            made[pair] = max(made.get(pair, 0.0), worth)
    return made


def _alike(
    told: Sequence[Sequence[str]],
    words: Mapping[str, int],
    aim: tuple[Sequence[tuple[str, ...]], Neighbours],
) -> list[float]:
    """Return how alike the neighbours of each run and of its initials are."""
    meant, neighbours = aim
    if not meant:
        return []
    wanted = set(meant)
    wide = {**words, **{" ".join(run): len(words) + at for at, run in enumerate(meant)}}
    rows = neighbours([*told, *_joined(told, wanted)], wide)
    short = rows[np.array([words[initials(run)] for run in meant])]
    long = rows[len(words) + np.arange(len(meant))]
    return [float(value) for value in np.asarray(short.multiply(long).sum(axis=1)).ravel()]


def _joined(
    told: Sequence[Sequence[str]], wanted: set[tuple[str, ...]]
) -> Iterator[tuple[str, ...]]:
    """Yield each text once for each run in it, the run as one word."""
    for row in told:
        for length in LENGTHS:
            for at in range(len(row) - length + 1):
                run = tuple(row[at : at + length])
                if run in wanted:
                    yield (*row[:at], " ".join(run), *row[at + length :])
