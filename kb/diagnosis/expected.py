"""What a cause would show: checks of the catalogue, and what most of its cases have."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

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


def is_known(row: Expected, query: CaseFeatures, witnesses: Witnesses) -> bool:
    """Say whether a job already holds what ``row`` asks for, however it came out."""
    item = row.item
    if isinstance(item, Measure):
        return any(known.key == item.key for known in query.measures)
    check = item.field.partition("|")[0]
    if item.part == "finding" and _is_read(check, query, witnesses):
        return True
    moved = f" change by {check}"
    if item.part == "finding" and any(known.key.endswith(moved) for known in query.measures):
        return True
    if item.part == "code" and any(known.field == "scan" for known in query.tokens):
        return True
    # Hardly any of what is known is of the same head, which is asked a few hundred times a job.
    near = [known for known in query.tokens if known.field.startswith(check)]
    return any(_answers(known, item, witnesses) for known in near)


def _is_read(check: str, query: CaseFeatures, witnesses: Witnesses) -> bool:
    term = witnesses.words.checks.get(check)
    return term is not None and term.is_read({known.key for known in query.measures})


def _answers(known: Token, item: Token, witnesses: Witnesses) -> bool:
    """Say whether a token of the job settles what ``item`` asks."""
    if known.field == item.field:
        return True
    head, _, subject = known.field.partition("|")
    if head != item.field.partition("|")[0]:
        return False
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
