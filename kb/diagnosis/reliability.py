"""Whether chances are to be believed: what was said held against what came true."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.measure import Answered, wilson_interval

Floats = NDArray[np.float64]

# Ends of the bands in which a chance is read; a foreman thinks in such steps (our choice).
BANDS: Final = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)
# Shares of the questions, the surest first, at which the errors are counted.
COVERAGES: Final = (0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Answers whose first chance lies from ``low`` to below ``high``.

    ``said`` is the mean chance, ``right`` how many proved true of ``answers``; ``interval`` is
    the 95 % interval of the share that proved true.
    """

    low: float
    high: float
    answers: int
    said: float
    right: int
    interval: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered:
    """The surest ``share`` of the questions: how many there are and how many were wrong."""

    share: float
    answers: int
    wrong: int


def _first(answers: Sequence[Answered]) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the first chance of each answer and whether it proved true."""
    said = np.array([row.chances[0] for row in answers], np.float64)
    true = [row.causes[0] == (row.truth if row.truth in row.causes else None) for row in answers]
    return said, np.array(true, np.bool_)


def reliability(answers: Sequence[Answered]) -> tuple[Band, ...]:
    """Return the bands in which any answer lies, with counts; the last one takes in certainty.

    References
    ----------
    Murphy & Winkler (1977), Reliability of subjective probability forecasts (from memory).
    """
    said, true = _first(answers)
    at = np.clip(np.searchsorted(BANDS, said, side="right") - 1, 0, len(BANDS) - 2)
    bands = []
    for number, (low, high) in enumerate(pairwise(BANDS)):
        here = at == number
        if here.any():
            count, right = int(here.sum()), int(true[here].sum())
            bands.append(
                Band(
                    low=low,
                    high=high,
                    answers=count,
                    said=float(said[here].mean()),
                    right=right,
                    interval=wilson_interval(right, count),
                )
            )
    return tuple(bands)


def risk_coverage(answers: Sequence[Answered]) -> tuple[Covered, ...]:
    """Return how many of the surest answers were wrong, by the share of questions answered.

    Ties keep the order in which the questions came.

    References
    ----------
    El-Yaniv & Wiener (2010), On the foundations of noise-free selective classification
    (from memory).
    """
    said, true = _first(answers)
    order = np.argsort(-said, kind="stable")
    wrong = np.cumsum(~true[order])
    counts = [max(1, round(share * len(answers))) for share in COVERAGES] if len(answers) else []
    return tuple(
        Covered(share=share, answers=count, wrong=int(wrong[count - 1]))
        for share, count in zip(COVERAGES, counts, strict=False)
    )


def score_reliability(answers: Sequence[Answered]) -> dict[str, object]:
    """Return both tables as plain rows, by name."""
    return {
        "reliability": [asdict(band) for band in reliability(answers)],
        "risk_coverage": [asdict(row) for row in risk_coverage(answers)],
    }
