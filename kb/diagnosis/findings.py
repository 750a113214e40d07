"""The next finding to record where no catalogue check is known: by expected information."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.causes import CauseModel
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.information import information_gain
from kb.diagnosis.linked import TOGETHER
from kb.retrieval.asked import Asked
from kb.retrieval.features import OBSERVED

Floats = NDArray[np.float64]

# The weights that make chances come out right hold the findings down; what to record next is
# chosen on chances part of the way back to the findings at full weight (our choice: on published
# networks 0.5 and 0.7 are alike, 0 gives less).
FULLER: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingAdvice:
    """A finding worth recording next, and the bits about the cause to expect of it."""

    field: str
    bits: float
    values: tuple[str, ...]


def expected_shares(
    model: CauseModel, asked: Asked, fields: Iterable[str] | None = None
) -> dict[str, Floats]:
    """Return P(value | cause, what is recorded) by field, each of shape ``(n_causes + 1, n_values)``.

    The last row is for "something else", which has the shares of all causes together. Fields that
    have one value only are left out.
    """
    every = model.index.values_of_.beginning(OBSERVED)
    linked, found = model.linked.expected(asked.query.tokens), {}
    for field in fields if fields is not None else every:
        values, shares, overall = model.recorded(field)
        if len(values) > 1:
            found[field] = linked[field] if field in linked else np.vstack([shares, overall])
    return found


class FieldTables:
    """P(value | cause) of several fields at once, by the names of their findings.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    names : iterable of str
        Names of findings; those of which the cases recorded fewer than two values are left out.
        ``at`` gives the place of each that is kept.
    """

    def __init__(self, model: CauseModel, names: Iterable[str]) -> None:
        self.model = model
        kept = [name for name in names if len(model.recorded(f"{OBSERVED}{name}")[0]) > 1]
        self.at = {name: number for number, name in enumerate(kept)}

    def expected(self, names: Iterable[str], asked: Asked) -> tuple[Floats, ...]:
        """Return the tables of ``names`` as the job has them, each ``(n_causes, n_values)``."""
        fields = [f"{OBSERVED}{name}" for name in names]
        tables = expected_shares(self.model, asked, fields)
        return tuple(tables[field][:-1] for field in fields)

    def overall(self, names: Iterable[str]) -> tuple[Floats, ...]:
        """Return the tables of ``names`` for a job of which nothing is known."""
        return tuple(self.model.recorded(f"{OBSERVED}{name}")[1] for name in names)


def fuller_chances(model: CauseModel, asked: Asked, chances: Sequence[CauseChance]) -> Floats:
    """Return the chances with the recorded findings nearer to full weight, in the same order.

    ``P(c) exp(h sum (1 - w_f) e_f(c))`` with e_f what finding f says and w_f its weight;
    "something else" keeps its chance.
    """
    evidence = model.weigh(asked)
    held = np.zeros(len(model.causes_))
    for name, part in zip(evidence.names, evidence.parts, strict=True):
        if name.startswith("observed ") or name == TOGETHER:
            held += (1 - model.calibration.weight(name)) * part
    at = {name: i for i, name in enumerate(model.causes_)}
    named = np.array([row.cause is not None for row in chances])
    said = np.array([row.chance for row in chances])
    rows = [at[row.cause] for row in chances if row.cause is not None]
    fuller = said[named] * np.exp(FULLER * (held[rows] - held[rows].max()))
    said[named] = fuller * said[named].sum() / max(float(fuller.sum()), 1e-300)
    return np.asarray(said / said.sum(), np.float64)


def next_findings(
    model: CauseModel,
    asked: Asked,
    chances: Sequence[CauseChance],
    *,
    fields: Iterable[str] | None = None,
    top: int = 5,
) -> tuple[FindingAdvice, ...]:
    """Return the unrecorded findings that tell most about the cause, best first.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    asked : Asked
        The job held against the cases.
    chances : sequence of CauseChance
        As ``CauseModel.chances`` gives them.
    fields : iterable of str or None
        What can be recorded; None means every field that any case recorded.
    top : int
        How many to return.
    """
    known = {token.field for token in asked.query.tokens}
    at = {name: i for i, name in enumerate(model.causes_)}
    rows = np.array([at[row.cause] if row.cause is not None else -1 for row in chances], np.int64)
    share = fuller_chances(model, asked, chances)
    found = [
        FindingAdvice(
            field=field,
            bits=information_gain(share, table[rows]),
            values=model.index.values_of_[field],
        )
        for field, table in expected_shares(model, asked, fields).items()
        if field not in known
    ]
    found.sort(key=lambda row: (-row.bits, row.field))
    return tuple(found[:top])
