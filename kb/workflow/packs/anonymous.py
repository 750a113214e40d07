"""A case without customer, car's numbers, staff and prices: what is dropped, blanked, held back."""

import hashlib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Any, Final

from kb.case.casefile import read_case, write_case
from kb.case.meant_now import as_meant_now
from kb.case.model import Closing, Job, Origin, Vehicle
from kb.case.terms import Vocabulary
from kb.errors import CaseFileError
from kb.workflow.packs.scan import Blanked, Scanner

# An odometer is given to this step, a day to the first of its month: enough for wear and season,
# too coarse to tell whose visit it was (our choice).
ODOMETER_STEP: Final = 1000
# A case with more in its texts than this is about somebody, and is held back whole (our choice).
MOST_BLANKED: Final = 12
# The last signs of a VIN by which shops call a car (common practice, no source).
_VIN_ENDS: Final = (17, 8, 6)
# Closed fields of imported tables that name money or a machine.
_DROPPED_FIELDS: Final = frozenset({"cost", "asset", "id"})
# Keys of the vocabulary and numbers as typed: nothing that anybody words.
_KEYS: Final = frozenset(
    {"id", "system", "quantity", "unit", "typed", "before_typed", "after_typed", "word"}
    | {"concept", "conditions", "not_conditions", "check", "outcome", "method", "kind", "end"}
    | {"cause", "second_cause", "odometer_unit"}
)
# What says which car or module it was: taken out of it, the case would be another one.
_NAMING: Final = frozenset(
    {"make", "model", "engine", "transmission", "family", "refrigerant", "code", "module", "status"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One case as it would go into a pack.

    ``of`` is its id in this shop, ``job`` what the other shop would get, ``blanked`` what was taken
    out of its texts, ``held_back`` why it does not go; empty where it does.
    """

    of: str
    job: Job
    blanked: tuple[Blanked, ...] = ()
    held_back: str = ""


def bare(job: Job) -> Job:
    """Return a job without what a pack never holds; a second time changes nothing.

    Dropped are VIN, invoice number, links to other jobs, prices and costs, suppliers and lots,
    photos; days and odometer are made coarse. The id follows from the rest.
    """
    vehicle = replace(job.vehicle, vin=None, odometer=_coarse(job.vehicle))
    plain = replace(
        job,
        id="",
        origin=Origin.ANOTHER_SHOP,
        opened=_month(job.opened),
        invoice=None,
        waits_for=None,
        comeback_of=None,
        vehicle=vehicle,
        tried=tuple(replace(row, cost_cents=None) for row in job.tried),
        closing=job.closing and _bare_closing(job.closing),
        fields=tuple(row for row in job.fields if row[0] not in _DROPPED_FIELDS),
    )
    return replace(plain, id=pack_id(plain))


def pack_id(job: Job) -> str:
    """Return the id of a case in a pack: it follows from its content, whichever shop packs it.

    Whether the repair held since is left out, so that a case packed again later is the same one.
    """
    held = job.closing and replace(job.closing, held=False)
    text = write_case(replace(job, id="", origin=Origin.ANOTHER_SHOP, closing=held))
    return f"P{hashlib.sha256(text.encode('utf-8', 'replace')).hexdigest()[:16]}"


def _month(day: date) -> date:
    return day.replace(day=1)


def _coarse(vehicle: Vehicle) -> float | None:
    if vehicle.odometer is None:
        return None
    return float(round(vehicle.odometer / ODOMETER_STEP) * ODOMETER_STEP)


def _bare_closing(closing: Closing) -> Closing:
    return replace(
        closing,
        closed=_month(closing.closed),
        until=closing.until and _month(closing.until),
        overturned_by=None,
        proofs=tuple(replace(row, photo=None) for row in closing.proofs),
        parts=tuple(replace(row, supplier=None, lot=None) for row in closing.parts),
        options=tuple(replace(row, price_cents=None) for row in closing.options),
    )


def candidate(job: Job, *, words: Vocabulary, shipped: Vocabulary, scanner: Scanner) -> Candidate:
    """Return a case as it would go into a pack, and why it does not where it does not.

    Parameters
    ----------
    job : Job
        A case of this shop.
    words : Vocabulary
        The trade's words with the shop's own laid over them.
    shipped : Vocabulary
        The words that every shop has.
    scanner : Scanner
        Knows the shop's people.
    """
    plain = _shared_terms(as_meant_now(job, words), shipped)
    known = _known(job)
    blanked: list[Blanked] = []

    def blank(name: str, text: str) -> str:
        clean, found = scanner.blank(text, known)
        blanked.extend(found)
        return text if name in _NAMING else clean

    named = [found for text in _naming(plain) for found in scanner.blank(text, known)[1]]
    made = bare(mapped(bare(plain), blank))
    why = _why_held(made, shipped, named=named, blanked=blanked)
    return Candidate(of=job.id, job=made, blanked=tuple(blanked), held_back=why)


def mapped(value: Any, change: Callable[[str, str], str], name: str = "") -> Any:
    """Return a value of the model with ``change(field name, text)`` in place of each free text."""
    if isinstance(value, str):
        return value if isinstance(value, StrEnum) or name in _KEYS else change(name, value)
    if isinstance(value, tuple):
        return tuple(mapped(item, change, name) for item in value)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    new = {row.name: mapped(getattr(value, row.name), change, row.name) for row in fields(value)}
    return replace(value, **new)


def _known(job: Job) -> Mapping[str, tuple[str, ...]]:
    vin, invoice = job.vehicle.vin or "", job.invoice or ""
    ends = {vin[-size:] for size in _VIN_ENDS if len(vin) >= size}
    return {
        "VIN": tuple(sorted(ends, key=len, reverse=True)),
        "invoice number": (invoice,) if len(invoice) > 1 else (),
        "job number": (job.id,),
    }


def _naming(job: Job) -> Iterator[str]:
    texts: list[str] = []

    def keep(name: str, text: str) -> str:
        if name in _NAMING:
            texts.append(text)
        return text

    mapped(replace(job, vehicle=replace(job.vehicle, vin=None)), keep)
    yield from texts


def _shared_terms(job: Job, shipped: Vocabulary) -> Job:
    """Return a job without findings and readings that no other shop has a word for."""
    at = [i for i, row in enumerate(job.findings) if row.check in shipped.checks]
    places = {old: new for new, old in enumerate(at)}
    sets = tuple(
        replace(
            row,
            finding=None if row.finding is None else places[row.finding],
            readings=tuple(r for r in row.readings if r.quantity in shipped.quantities),
        )
        for row in job.reading_sets
        if row.finding is None or row.finding in places
    )
    closing = job.closing
    if closing and closing.second_cause not in shipped.causes:
        closing = replace(closing, second_cause=None)
    findings = tuple(job.findings[i] for i in at)
    return replace(job, findings=findings, reading_sets=sets, closing=closing)


def _why_held(
    job: Job, shipped: Vocabulary, *, named: list[Blanked], blanked: list[Blanked]
) -> str:
    if job.cause not in shipped.causes:
        return "its cause is a word of this shop alone"
    if named:
        kinds = ", ".join(sorted(Counter(row.kind for row in named)))
        return f"the name of the car, an engine or a module looks like: {kinds}"
    if len(blanked) > MOST_BLANKED:
        return f"{len(blanked)} things in its texts would be blanked: it is about somebody"
    return _why_unread(job, shipped)


def _why_unread(job: Job, shipped: Vocabulary) -> str:
    """Return why another shop could not read a case, empty where it can: asked of the reader."""
    try:
        again = read_case(write_case(job), name=job.id, words=shipped)
    except CaseFileError as error:
        return f"another shop could not read it: {error.reason}"
    return "" if again == job else "another shop would read it as another case"
