"""Open records to work on: what is known when a job comes in, and what each check would show."""

import random
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from kb.retrieval.features import OBSERVED, CaseFeatures, observed_token
from kb.retrieval.index import CaseIndex
from kb.workflow.records import read_open

# Entries known when a job comes in, and normal score beyond which a reading is not usual (our
# choice).
KNOWN: Final = (2, 4)
UNUSUAL: Final = 1.0
_SEED: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A job as it comes in: what is known, its cause, and what each check still open would show."""

    asked: CaseFeatures
    cause: str
    truth: Mapping[str, str]


def start_of(asked: CaseFeatures, unseen: Mapping[str, str]) -> Start:
    """Return a job with two to four of its entries known, drawn by its name; the rest are checks."""
    drawn = random.Random(f"{_SEED} {asked.case}")  # noqa: S311
    order = drawn.sample(asked.tokens, len(asked.tokens))
    known = order[: drawn.randint(*KNOWN)]
    truth = {token.field.removeprefix(OBSERVED): token.value for token in order[len(known) :]}
    return Start(
        asked=replace(asked, tokens=tuple(known), cause=None),
        cause=asked.cause or "",
        truth=truth | dict(unseen),
    )


def _band(score: float) -> str:
    if abs(score) <= UNUSUAL:
        return "usual"
    return "low" if score < 0 else "high"


def as_findings(case: CaseFeatures, index: CaseIndex) -> CaseFeatures:
    """Return a record whose symptoms and readings are findings: yes or no; low, usual or high.

    A reading goes by its normal score among those of ``index``; one that has none is left out.
    """
    tokens = [
        row if row.part == "observed" else observed_token(row.field.rstrip("|"), row.value)
        for row in case.tokens
    ]
    scales = [(index.scale(row.key), row) for row in case.measures]
    tokens += [
        observed_token(row.key, _band(scale.score(row.value, case.group)))
        for scale, row in scales
        if scale.usable
    ]
    return replace(case, tokens=tuple(tokens), measures=())


def filled(
    asked: CaseFeatures, unseen: Mapping[str, str], others: Sequence[CaseFeatures]
) -> dict[str, str]:
    """Return ``unseen`` with what ``others`` recorded that ``asked`` did not, the first counting."""
    own = {token.field for token in asked.tokens}
    found = {
        token.field.removeprefix(OBSERVED): token.value
        for other in reversed(others)
        for token in other.tokens
        if token.field not in own
    }
    return found | dict(unseen)


def read_starts(folder: Path, scales: CaseIndex, *, fill: bool = False) -> list[Start]:
    """Return the queries of a folder as jobs that come in.

    Parameters
    ----------
    folder : Path
        With ``queries.jsonl``.
    scales : CaseIndex
        Gives the normal scores of readings.
    fill : bool
        Take what a query says nothing of from the other queries with its cause, in a drawn order.
    """
    rows = [(as_findings(asked, scales), unseen) for asked, unseen in read_open(folder)]
    alike: defaultdict[str | None, list[CaseFeatures]] = defaultdict(list)
    for asked, _ in rows if fill else ():
        alike[asked.cause].append(asked)
    starts = []
    for asked, unseen in rows:
        others = [other for other in alike[asked.cause] if other.case != asked.case]
        random.Random(f"{_SEED} {asked.case}").shuffle(others)  # noqa: S311
        starts.append(start_of(asked, filled(asked, unseen, others)))
    return starts
