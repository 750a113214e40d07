"""How well the answers are: ranking measures, chances against what came true, intervals."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]

_CUT: Final = 10
# Normal quantile of a two-sided 95 % interval.
Z95: Final = 1.959963984540054
_BINS: Final = 10
# What counts as said with certainty, and the least chance that a surprise is reckoned with.
SURE: Final = 0.9
_LEAST_SAID: Final = 1e-12


def ndcg_at(ranked: Sequence[str], grades: Mapping[str, int], cut: int = _CUT) -> float:
    """Return the normalised discounted cumulative gain of the first ``cut`` documents.

    Gain is the grade itself, discount ``log2(1 + rank)``, the ideal order the best that the
    judgements allow.

    References
    ----------
    Järvelin & Kekäläinen (2002), Cumulated gain-based evaluation of IR techniques (from memory).

    Examples
    --------
    >>> round(ndcg_at(["a", "b"], {"b": 1}), 4)
    0.6309
    """
    discounts = 1 / np.log2(np.arange(2, cut + 2))
    gains = np.array([grades.get(doc, 0) for doc in ranked[:cut]], np.float64)
    ideal = np.array(sorted(grades.values(), reverse=True)[:cut], np.float64)
    best = float(ideal @ discounts[: len(ideal)])
    return float(gains @ discounts[: len(gains)]) / best if best > 0 else 0.0


def reciprocal_rank(ranked: Sequence[str], grades: Mapping[str, int], cut: int = _CUT) -> float:
    """Return 1 over the rank of the first relevant document in the first ``cut``, else 0."""
    for rank, doc in enumerate(ranked[:cut], start=1):
        if grades.get(doc, 0) > 0:
            return 1 / rank
    return 0.0


def hit_at(ranked: Sequence[str], grades: Mapping[str, int], cut: int) -> float:
    """Return 1.0 where any of the first ``cut`` documents is relevant, else 0.0."""
    return float(any(grades.get(doc, 0) > 0 for doc in ranked[:cut]))


def wilson_interval(hits: int, n: int) -> tuple[float, float]:
    """Return the 95 % interval of a share.

    References
    ----------
    Wilson (1927), Probable inference, the law of succession, and statistical inference
    (from memory).

    Examples
    --------
    >>> tuple(round(x, 3) for x in wilson_interval(3, 41))
    (0.025, 0.194)
    """
    if n == 0:
        return 0.0, 1.0
    share, square = hits / n, Z95**2
    middle = (share + square / (2 * n)) / (1 + square / n)
    half = Z95 * np.sqrt(share * (1 - share) / n + square / (4 * n * n)) / (1 + square / n)
    return float(max(0.0, middle - half)), float(min(1.0, middle + half))


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """One question with its answer: causes by chance (None is "something else") and the truth."""

    causes: tuple[str | None, ...]
    chances: tuple[float, ...]
    truth: str | None

    @property
    def rank(self) -> int | None:
        """Rank of the true cause among the named causes, from 1; None where it is not there."""
        named = [cause for cause in self.causes if cause is not None]
        return named.index(self.truth) + 1 if self.truth in named else None


def brier_score(answers: Sequence[Answered]) -> float:
    """Return the mean squared distance of the chances from what came true, 0 to 2.

    References
    ----------
    Brier (1950), Verification of forecasts expressed in terms of probability (from memory).
    """
    total = 0.0
    for row in answers:
        total += sum(
            (chance - float(cause == row.truth)) ** 2
            for cause, chance in zip(row.causes, row.chances, strict=True)
        )
        total += float(row.truth not in row.causes)
    return total / len(answers)


def calibration_error(answers: Sequence[Answered]) -> float:
    """Return the expected calibration error of the first answer over ten bins of equal count.

    References
    ----------
    Naeini, Cooper & Hauskrecht (2015), Obtaining well calibrated probabilities using Bayesian
    binning (from memory).
    """
    said = np.array([row.chances[0] for row in answers])
    right = np.array([float(row.causes[0] == row.truth) for row in answers])
    order = np.argsort(said, kind="stable")
    bins = [part for part in np.array_split(order, _BINS) if len(part)]
    gaps = [len(part) * abs(float(said[part].mean() - right[part].mean())) for part in bins]
    return float(sum(gaps) / len(answers))


def chance_of_truth(answer: Answered) -> float:
    """Return the chance that was said of what came true; an unnamed truth is "something else"."""
    truth = answer.truth if answer.truth in answer.causes else None
    return answer.chances[answer.causes.index(truth)] if truth in answer.causes else 0.0


def score_chances(answers: Sequence[Answered]) -> dict[str, float]:
    """Return the mean surprise in nats, how often .9 was said, and how often it was right then.

    Where .9 was never said, nothing is told of how often it was right.
    """
    said = np.array([chance_of_truth(row) for row in answers])
    sure = [row for row in answers if row.chances[0] >= SURE]
    right = sum(row.causes[0] == row.truth for row in sure)
    out = {"nll": float(-np.log(np.maximum(said, _LEAST_SAID)).mean())}
    out["sure_share"] = len(sure) / len(answers)
    return out | ({"sure_right": right / len(sure)} if sure else {})


def separation(inside: Sequence[float], outside: Sequence[float]) -> float:
    """Return the chance that a random value of ``outside`` is above one of ``inside`` (AUC).

    References
    ----------
    Mann & Whitney (1947), the U statistic over its largest value (from memory).

    Examples
    --------
    >>> separation([0.1, 0.4], [0.3, 0.9])
    0.75
    """
    low, high = np.array(inside)[:, None], np.array(outside)[None, :]
    return float(((high > low) + (high == low) / 2).mean())


def score_causes(answers: Sequence[Answered]) -> dict[str, object]:
    """Return hit@1/3/5 with 95 % intervals, MRR, Brier score and calibration error."""
    n = len(answers)
    out: dict[str, object] = {"queries": n}
    ranks = [row.rank for row in answers]
    for cut in (1, 3, 5):
        hits = sum(rank is not None and rank <= cut for rank in ranks)
        out[f"hit@{cut}"] = hits / n if n else 0.0
        out[f"hit@{cut}_interval"] = list(wilson_interval(hits, n))
    out["mrr"] = sum(1 / rank for rank in ranks if rank) / n if n else 0.0
    out["brier"] = brier_score(answers) if n else 0.0
    out["ece"] = calibration_error(answers) if n else 0.0
    return out


def score_rankings(
    rankings: Mapping[str, Sequence[str]], judged: Mapping[str, Mapping[str, int]]
) -> dict[str, float]:
    """Return the means of nDCG@10, hit@1/3/5 and MRR@10 over the judged queries."""
    keys = [key for key in rankings if judged.get(key)]
    rows = [(rankings[key], judged[key]) for key in keys]

    def mean(values: list[float]) -> float:
        return float(np.mean(values)) if values else 0.0

    return {
        "ndcg@10": mean([ndcg_at(docs, grades) for docs, grades in rows]),
        "hit@1": mean([hit_at(docs, grades, 1) for docs, grades in rows]),
        "hit@3": mean([hit_at(docs, grades, 3) for docs, grades in rows]),
        "hit@5": mean([hit_at(docs, grades, 5) for docs, grades in rows]),
        "mrr@10": mean([reciprocal_rank(docs, grades) for docs, grades in rows]),
        "queries": len(rows),
    }


def mean_error(values: Sequence[float]) -> float:
    """Return the standard error of the mean, 0 for a single value."""
    n = len(values)
    return float(np.std(values, ddof=1) / np.sqrt(n)) if n > 1 else 0.0


def ratio_error(above: Sequence[float], below: Sequence[float]) -> float:
    """Return the standard error of the ratio of two means of pairs.

    ``sd(a - r b) / (mean(b) sqrt(n))`` with r the ratio.

    References
    ----------
    Cochran (1977), Sampling techniques, chapter 6, the ratio estimator (from memory).
    """
    a, b = np.array(above, np.float64), np.array(below, np.float64)
    return mean_error((a - a.mean() / b.mean() * b).tolist()) / float(b.mean())


def ratio_interval(above: Sequence[float], below: Sequence[float]) -> tuple[float, float, float]:
    """Return the ratio of two sums of pairs with its 95 % interval, from two pairs on.

    Student's t around Cochran's standard error. In a simulation of skewed gains over log-normal
    minutes it held the true ratio in 82 to 90 % of the samples of 10 pairs and 92 to 94 % of those
    of 60, the percentile bootstrap in 81 to 88 % and 93 %; so the plain formula is used.

    References
    ----------
    Cochran (1977), Sampling techniques, chapter 6, the ratio estimator (from memory).

    Examples
    --------
    >>> tuple(round(x, 3) for x in ratio_interval([1.0, 2.0, 4.0], [10.0, 20.0, 20.0]))
    (0.14, -0.018, 0.298)
    """
    ratio = sum(above) / sum(below)
    half = float(stats.t.ppf(0.975, len(above) - 1)) * ratio_error(above, below)
    return ratio, ratio - half, ratio + half
