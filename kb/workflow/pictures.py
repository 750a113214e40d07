"""What an action moved, and the refrigerant's way round: the numbers behind two kinds of picture."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from kb.case.cycle import Cycle, cycle_of, has_both_sides
from kb.case.model import Finding, Job, Phase, Response
from kb.case.refrigerant import refrigerant_name
from kb.case.terms import Vocabulary
from kb.case.units import same_kind
from kb.retrieval.measures import plain_number, unit_in
from kb.workflow.strips import said_in, units_typed


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """What an action changed: two numbers of one reading, in ``unit``, as typed beside them."""

    name: str
    unit: str
    before: float
    after: float
    before_said: str
    after_said: str
    band: tuple[float, float] | None = None
    band_when: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CyclePicture:
    """The refrigerant's way round in one reading set, and the unit in which pressure is said."""

    phase: Phase
    cycle: Cycle
    pressure_unit: str
    temperature_unit: str


# --- what an action moved ------------------------------------------------------------------------


def moves_of(finding: Finding, words: Vocabulary) -> tuple[Move, ...]:
    """Return the two numbers of each response; those without both numbers are left out."""
    return tuple(_moves(finding.responses, words))


def _moves(rows: Iterable[Response], words: Vocabulary) -> Iterator[Move]:
    for row in rows:
        known = words.quantities.get(row.quantity or "")
        if row.quantity is None or row.before is None or row.after is None:
            continue
        canonical = known.unit if known else row.unit or ""
        unit = row.unit if row.unit and same_kind(row.unit, canonical) else canonical
        name = known.name if known else row.quantity.replace("_", " ")
        before, after = (said_in(value, canonical, unit) for value in (row.before, row.after))
        band = known.typical if known else None
        yield Move(
            name=f"{name} ({row.position})" if row.position else name,
            unit=unit,
            before=before,
            after=after,
            before_said=row.before_typed or plain_number(before),
            after_said=row.after_typed or plain_number(after),
            band=(said_in(band[0], canonical, unit), said_in(band[1], canonical, unit))
            if band
            else None,
            band_when=known.typical_when if known and band else "",
        )


# --- the refrigerant's way round -----------------------------------------------------------------


def cycles_of(job: Job, *, altitude_m: float = 0.0) -> tuple[CyclePicture, ...]:
    """Return the cycle of the first reading set of each phase that tells of one."""
    found: dict[Phase, CyclePicture] = {}
    for group in job.reading_sets:
        if group.phase in found or not has_both_sides(group):
            continue
        cycle = cycle_of(group, vehicle=job.vehicle, altitude_m=altitude_m)
        if cycle is not None:
            found[group.phase] = CyclePicture(
                phase=group.phase,
                cycle=cycle,
                pressure_unit=unit_in([row.unit for row in group.readings], "kPa"),
                temperature_unit=unit_in(units_typed(job, group), "degC"),
            )
    return tuple(found.values())


def lacks_refrigerant(job: Job) -> bool:
    """Say whether both pressures were read and only the refrigerant is not known."""
    return refrigerant_name(job.vehicle.refrigerant) is None and any(
        has_both_sides(group) for group in job.reading_sets
    )
