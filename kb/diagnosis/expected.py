"""What a cause would show: checks of the catalogue, and what most of its cases have."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from kb.diagnosis.causes import CauseModel
from kb.diagnosis.chances import part_name
from kb.diagnosis.part_names import concerns
from kb.diagnosis.proving import subject_of
from kb.diagnosis.witnesses import Witnesses
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.measures import Measure, spread

# Cases of a cause from which "most of them" says something, and nats from which a thing is worth
# a line: it moves the odds by a tenth (our choice).
_LEAST_CASES: Final = 2
LEAST_NATS: Final = 0.1
# What stands in the key of a response between what was read and the action.
_MOVED: Final = " change by "


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """A thing that the cause would show: ``nats`` is what it adds to the evidence if it does."""

    item: Token | Measure
    what: str
    counts: str
    nats: float


def expected_of(model: CauseModel, witnesses: Witnesses) -> tuple[Expected, ...]:
    """Return all that a cause would show, most telling first."""
    asked = (*_of_the_catalogue(witnesses), *_of_most_cases(witnesses))
    rows: dict[str, Expected] = {}
    for token in asked:
        nats = _nats(model, part_name(token), model.token_evidence(token), at=witnesses.at)
        counts = witnesses.counts_where_known(token)
        rows.setdefault(
            token.field,
            Expected(item=token, what=witnesses.name(token), counts=counts, nats=nats),
        )
    found = [*rows.values(), *_readings(model, witnesses)]
    telling = [row for row in found if row.nats >= LEAST_NATS]
    return tuple(sorted(telling, key=lambda row: (-row.nats, row.what)))


class Held(NamedTuple):
    """What a job holds: readings by key, actions whose response was taken, tokens by their head."""

    readings: set[str]
    moved: set[str]
    tokens: dict[str, list[Token]]


def held_by(query: CaseFeatures) -> Held:
    """Return what a job holds, as it is asked for a few hundred times."""
    readings = {row.key for row in query.measures}
    moved = {key.rpartition(_MOVED)[2] for key in readings if _MOVED in key}
    tokens: dict[str, list[Token]] = {}
    for token in query.tokens:
        tokens.setdefault(token.field.partition("|")[0], []).append(token)
    return Held(readings, moved, tokens)


def is_known(row: Expected, held: Held, witnesses: Witnesses) -> bool:
    """Say whether a job already holds what ``row`` asks for, however it came out."""
    item = row.item
    if isinstance(item, Measure):
        return item.key in held.readings
    head = item.field.partition("|")[0]
    if item.part == "finding" and (head in held.moved or _is_read(head, held, witnesses)):
        return True
    if item.part == "code" and any(row.field == "scan" for row in held.tokens.get("scan", ())):
        return True
    return any(_answers(known, item, witnesses) for known in held.tokens.get(head, ()))


def _is_read(check: str, held: Held, witnesses: Witnesses) -> bool:
    term = witnesses.words.checks.get(check)
    return term is not None and term.is_read(held.readings)


def _answers(known: Token, item: Token, witnesses: Witnesses) -> bool:
    """Say whether a token of the job settles what ``item``, of the same head, asks."""
    if known.field == item.field:
        return True
    head, _, subject = known.field.partition("|")
    if item.part == "symptom":
        return known.part == "condition"
    part = witnesses.term.part if witnesses.term else ""
    return item.part == "finding" and concerns(witnesses.words, head, subject=subject, part=part)


def _nats(model: CauseModel, part: str, evidence: object, *, at: int) -> float:
    if not isinstance(evidence, np.ndarray):
        return 0.0
    return model.calibration.weight(part) * float(evidence[at])


def _of_the_catalogue(witnesses: Witnesses) -> Iterator[Token]:
    words, term = witnesses.words, witnesses.term
    for check, outcome in term.expect.items() if term else ():
        row = words.checks[check]
        if row.is_lookup or outcome not in row.outcomes:
            continue
        subject = subject_of(words, witnesses.cause, row)
        yield Token(part="finding", field=f"{check}|{subject}", value=outcome, what="")


def _of_most_cases(witnesses: Witnesses) -> Iterator[Token]:
    if len(witnesses.rows) < _LEAST_CASES:
        return
    for key, _ in witnesses.shared("tokens"):
        token = witnesses.token(key)
        if token is not None:
            yield token


def _readings(model: CauseModel, witnesses: Witnesses) -> Iterator[Expected]:
    """Yield the plain readings that most cases have, as telling as their middle value is."""
    if len(witnesses.rows) < _LEAST_CASES:
        return
    for key, count in witnesses.shared("measures"):
        known = witnesses.words.quantities.get(key)
        if known is None:
            continue
        values = witnesses.readings(key)
        row = Measure(
            key=key,
            value=float(values[len(values) // 2]),
            what=known.name,
            canonical=known.unit,
            unit=known.shown,
        )
        yield Expected(
            item=row,
            what=f"{known.name}: {spread(row, values)} {known.shown}",
            counts=f"read in {count} of {len(witnesses.rows)} cases of this cause",
            nats=_nats(model, f"reading {key}", model.measure_evidence(row, ""), at=witnesses.at),
        )
