"""What holds a group of jobs together: words, tokens and readings that few other jobs have."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.analyzer import SMALL_WORDS, word_terms
from kb.retrieval.features import CaseFeatures
from kb.retrieval.measures import Measure, spread
from kb.retrieval.pairwise import Likeness

Rows = NDArray[np.int64]

# Log odds in nats from which a thing tells a group from the other jobs, and how many words and
# other signs are told at most (our choice): 3 is odds 20 times those of the others.
LEAST_LOG_ODDS: Final = 3.0
MOST_WORDS: Final = 8
MOST_SIGNS: Final = 8
# Small words that turn the word after them: "not cold" is told, "cold at" is not.
_TURNING: Final = frozenset({"no", "not"})
_WORDS: Final = "words"
_READING: Final = "reading"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """One thing that most jobs of a group have: ``inside`` of ``size``, ``outside`` of ``others``.

    ``part`` is "words", "reading", or the part of a token. ``what`` says it; for a reading it is
    the key of the quantity, and ``span`` says from where to where those of the group lie, in
    ``unit``. ``weight`` is the log odds against the other jobs, in nats.
    """

    part: str
    what: str
    inside: int
    size: int
    outside: int
    others: int
    weight: float
    span: str = ""
    unit: str = ""


def log_odds(inside: int, size: int, *, outside: int, others: int) -> float:
    """Return the log odds ratio of two shares, half a job added to each count, in nats.

    References
    ----------
    Haldane (1956), The estimation and significance of the logarithm of a ratio of frequencies
    (from memory).

    Examples
    --------
    >>> round(log_odds(5, 6, outside=9, others=400), 2)
    5.02
    """
    odds = np.log((inside + 0.5) / (size - inside + 0.5))
    return float(odds - np.log((outside + 0.5) / (others - outside + 0.5)))


def signs_of(likeness: Likeness, rows: Rows) -> tuple[Sign, ...]:
    """Return what at least half of the jobs of a group have and few others, words first.

    Parameters
    ----------
    likeness : Likeness
        All recent jobs.
    rows : array of shape (n_members,)
        The jobs of the group, ascending.
    """
    words = _strongest(_words(likeness, rows))
    other = _strongest([*_tokens(likeness, rows), *_readings(likeness, rows)])
    return (*_longest(words)[:MOST_WORDS], *other[:MOST_SIGNS])


def _strongest(signs: Sequence[Sign]) -> list[Sign]:
    """Return signs by what they tell for a job of the group, on average."""
    return sorted(
        signs, key=lambda sign: (-sign.weight * sign.inside / sign.size, sign.part, sign.what)
    )


def _sign(part: str, what: str, *, counts: tuple[int, int], sizes: tuple[int, int]) -> Sign | None:
    """Return a sign where at least half of a group has it and few others; counts in and out."""
    (inside, outside), (size, others) = counts, sizes
    if 2 * inside < size or inside < 2:
        return None
    weight = log_odds(inside, size, outside=outside, others=others)
    if weight < LEAST_LOG_ODDS:
        return None
    return Sign(
        part=part,
        what=what,
        inside=inside,
        size=size,
        outside=outside,
        others=others,
        weight=weight,
    )


def _words(likeness: Likeness, rows: Rows) -> list[Sign]:
    held = [_terms(job.features) for job in likeness.jobs]
    overall = Counter(term for terms in held for term in terms)
    inside = Counter(term for row in rows for term in held[row])
    sizes = len(rows), len(held) - len(rows)
    found = (
        _sign(_WORDS, term, counts=_counts(count, overall[term]), sizes=sizes)
        for term, count in sorted(inside.items())
        if 2 * count >= len(rows) and _tells(term)
    )
    return [sign for sign in found if sign is not None]


def _terms(features: CaseFeatures) -> set[str]:
    """Return the words and pairs of neighbouring words in both texts of a job."""
    return {*word_terms(features.said), *word_terms(features.told)}


def _tells(term: str) -> bool:
    """Say whether a word or a pair of words can be told without its sentence."""
    words = set(term.split())
    return not words & (SMALL_WORDS - _TURNING) and not words <= _TURNING


def _counts(inside: int, overall: int) -> tuple[int, int]:
    return int(inside), int(overall - inside)


def _longest(signs: Sequence[Sign]) -> list[Sign]:
    """Return word signs without the single words of a pair that as many have."""
    pairs = [sign for sign in signs if " " in sign.what]
    said = {(word, sign.inside) for sign in pairs for word in sign.what.split()}
    return [sign for sign in signs if (sign.what, sign.inside) not in said]


def _tokens(likeness: Likeness, rows: Rows) -> Iterator[Sign]:
    index = likeness.index
    tokens = {token.key: token for row in rows for token in likeness.jobs[row].features.tokens}
    for key, token in tokens.items():
        having = index.tokens_.of(key)
        counts = _counts(np.isin(having, rows).sum(), len(having))
        sizes = len(rows), len(index.ids_) - len(rows)
        sign = _sign(token.part, token.what, counts=counts, sizes=sizes)
        if sign is not None:
            yield sign


def _readings(likeness: Likeness, rows: Rows) -> Iterator[Sign]:
    """Yield readings of which those of the group lie where few others do."""
    index = likeness.index
    measures: dict[str, Measure] = {
        row.key: row for at in rows for row in likeness.jobs[at].features.measures
    }
    for key, measure in measures.items():
        values = np.asarray(index.values_[index.measures_.span(key)])
        own = np.isin(index.measures_.of(key), rows)
        ends = values[own].min(), values[own].max()
        within = int(((values >= ends[0]) & (values <= ends[1])).sum())
        counts = _counts(own.sum(), within)
        sizes = len(rows), len(index.ids_) - len(rows)
        sign = _sign(_READING, key, counts=counts, sizes=sizes)
        if sign is not None:
            span = spread(measure, np.array(ends))
            yield replace(sign, span=span, unit=measure.unit)
