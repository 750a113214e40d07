"""From evidence to chances: weighted parts, the vote, and the chance of "something else"."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.calibration import OTHER_SHARE, Calibration
from kb.diagnosis.cause_texts import JobWords
from kb.diagnosis.novelty import novelty_chance, novelty_signs
from kb.retrieval.features import Token
from kb.retrieval.measures import Measure
from kb.retrieval.shards import AnyAsked

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

NEIGHBOURS: Final = 15
_VOTE_FLOOR: Final = float(np.exp(-12.0))


class CauseChance(NamedTuple):
    """The chance of one cause; ``cause`` is None for "something else"."""

    cause: str | None
    chance: float
    cases: Sequence[str] = ()


class Entry(NamedTuple):
    """One thing known of a job: its part, what it is, nats by cause.

    ``item`` is None for what was learned of the words, and for what recorded findings say together.
    """

    part: str
    item: Token | Measure | JobWords | None
    nats: Floats


def part_name(token: Token) -> str:
    """Return the part of the evidence that a token belongs to, as a calibration names it."""
    own = token.part in {"observed", "symptom"}
    return f"{token.part} {token.field}" if own else token.part


def summed(entries: Iterable[Entry]) -> dict[str, Floats]:
    """Return the entries added up by part."""
    found: dict[str, Floats] = {}
    for name, _, nats in entries:
        found[name] = found[name] + nats if name in found else nats
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All that a job says of the causes: parts by name, shape ``(n_parts, n_causes)``, in nats.

    ``odd`` is how unusual the job is: nats of its readings and words, number of words and parts.
    """

    names: tuple[str, ...]
    parts: Floats
    prior: Floats
    vote: Floats
    odd: Floats


def log_vote(asked: AnyAsked, cause_of: Codes, n_causes: int) -> Floats:
    """Return the logarithm of each cause's share of the 15 best cases, 0 where there is none.

    A case counts by ``exp`` of its score and its weight; a cause without one has ``exp(-12)``.
    """
    votes = np.full(n_causes, _VOTE_FLOOR)
    rows, nats, weights = asked.witnesses(NEIGHBOURS, cause_of)
    if not rows:
        return np.zeros(n_causes)
    scores = nats.astype(np.float64)
    share = np.exp(scores - scores.max()) * weights
    for row, part in zip(rows, share / max(float(share.sum()), 1e-300), strict=True):
        votes[cause_of[row]] += part
    return np.asarray(np.log(votes), np.float64)


def weighted(evidence: Evidence, numbers: Calibration) -> tuple[Floats, Floats]:
    """Return the weighted parts and the weighted prior with the vote."""
    weights = np.array([numbers.weight(name) for name in evidence.names])
    level = numbers.weight("prior") * evidence.prior + numbers.vote * evidence.vote
    return weights[:, None] * evidence.parts, level


def chances_of(evidence: Evidence, numbers: Calibration) -> Floats:
    """Return the chances of all causes and, last, of "something else"; they sum to 1.

    ``P(c)`` is proportional to ``exp(beta L_c) V_c^v`` with the profile L, prior included, and the
    vote V; a calibrated beta is one a part. As shipped, "something else" is proportional to
    ``exp(beta ln .1 + o)`` and never below its least chance. Calibrated, it has the chance that
    the signs of a cause never stored give, and the causes share the rest.
    """
    parts, level = weighted(evidence, numbers)
    logits = parts.sum(axis=0) + level
    if numbers.novelty:
        signs = novelty_signs(parts, level, evidence.vote, odd=evidence.odd)
        weights = np.array(numbers.novelty)
        other = novelty_chance(signs, weights, numbers.other)
        other = numbers.least_other + (1 - numbers.least_other) * other
        named = np.exp(logits - logits.max())
        return np.append((1 - other) * named / named.sum(), other)
    other = numbers.weight("prior") * float(np.log(OTHER_SHARE)) + numbers.other
    full = np.append(logits, other)
    full = np.exp(full - full.max())
    return _with_floor(full / full.sum(), numbers.least_other)


def _with_floor(chances: Floats, least: float) -> Floats:
    """Return the chances with "something else", the last one, lifted to its least share."""
    if chances[-1] >= least:
        return chances
    lifted: Floats = chances * (1 - least) / (1 - chances[-1])
    lifted[-1] = least
    return lifted


def ranked(
    evidence: Evidence,
    numbers: Calibration,
    *,
    causes: Sequence[str],
    cases: Sequence[Sequence[str]],
) -> tuple[CauseChance, ...]:
    """Return the causes by chance, largest first, "something else" among them.

    Parameters
    ----------
    evidence : Evidence
        What a job says of ``causes``.
    numbers : Calibration
        With which it is weighted.
    causes, cases : sequences
        Names, and the ids of the cases of each.
    """
    full = chances_of(evidence, numbers)
    order = np.argsort(-full, kind="stable")
    rows = zip(order.tolist(), full[order].tolist(), strict=True)
    made, names, ids = CauseChance._make, (*causes, None), (*cases, ())
    return tuple([made((names[at], chance, ids[at])) for at, chance in rows])
