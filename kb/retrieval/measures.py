"""The numbers of a job that others may have too, and the words that set two of them side by side.

A value is compared in one unit for each key; a screen says it in the unit that was typed here.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.case.derived import DerivedReading, derive
from kb.case.model import Job, Phase, Reading, Response
from kb.case.terms import Vocabulary
from kb.case.units import UNITS, convert, same_kind
from kb.retrieval.levels import Sorted

Floats = NDArray[np.float64]

# Recorded values and "one in so many" from which a reading is called rare, and the share at
# either end beyond which it is no longer called usual where the trade names no band (our choice).
RARE_FROM: Final = 20
_MIDDLE: Final = 0.25
_TEMPERATURES: Final = {"degC": "delta_degC", "degF": "delta_degF"}

# Units that are not said.
_BARE: Final = frozenset({"1", "count"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A number that two jobs may have in common; ``key`` is a quantity or a derived reading.

    ``value`` is in ``canonical``, ``unit`` is the unit in which it is said; both are empty where
    the number has no known unit. ``usual`` says whether it lies in the trade's usual band, None
    where there is no band. ``moved`` marks a difference that an action made.
    """

    key: str
    value: float
    what: str
    canonical: str = ""
    unit: str = ""
    usual: bool | None = None
    moved: bool = False

    def said(self, value: float) -> float:
        """Return ``value``, which is in ``canonical``, in the unit in which this one is said."""
        return convert(value, self.canonical, self.unit) if self.unit else value


def plain_number(value: float) -> str:
    """Return a number with three figures, none of a whole number lost.

    Examples
    --------
    >>> plain_number(1234.4), plain_number(104.31), plain_number(0.05678)
    ('1234', '104', '0.0568')
    """
    return f"{value:.0f}" if abs(value) >= 99.95 else f"{float(f'{value:.3g}'):g}"


def _movement(value: float) -> str:
    if value == 0:
        return "did not move"
    return f"{'fell' if value < 0 else 'rose'} {plain_number(abs(value))}"


def beside(here: Measure, there: float) -> str:
    """Return what another case has in place of ``here``, in the unit in which this one is said.

    Parameters
    ----------
    here : Measure
        Of this job.
    there : float
        The value of the other case, in ``here.canonical``.
    """
    value = here.said(there)
    if not here.moved:
        return plain_number(value)
    return plain_number(abs(value)) if value * here.value > 0 else _movement(value)


def spread(here: Measure, values: Floats) -> str:
    """Return the least and the most of ``values``, in the unit in which ``here`` is said."""
    low, high = (here.said(float(bound)) for bound in (values.min(), values.max()))
    if here.moved and low * high > 0:
        low, high = sorted((abs(low), abs(high)))
        head = "fell " if values.min() < 0 else "rose "
    else:
        head = ""
    ends = dict.fromkeys((plain_number(low), plain_number(high)))
    return head + " to ".join(ends)


def rarity(here: Measure, population: Sorted) -> str:
    """Return how often cases have a value as extreme, on the same side of the middle one.

    Parameters
    ----------
    here : Measure
        Of this job.
    population : array of shape (n_values,), or what is looked into as one
        All recorded values, ascending, in ``here.canonical``.

    Returns
    -------
    str
        "usual" inside the usual band of the trade, or in the middle half where no band is known;
        "rare: 1 in N cases" from 1 in 20 and 20 recorded values on; else the plain count.
    """
    size = len(population)
    upper = 2 * here.value > float(population[(size - 1) // 2] + population[size // 2])
    at = population.searchsorted(here.value, side="left" if upper else "right")
    count = int(size - at if upper else at)
    if here.usual or _is_middling(here, count, size=size):
        return "usual"
    if size >= RARE_FROM and count * RARE_FROM <= size:
        return f"rare: {f'1 in {round(size / count)}' if count else f'none of {size}'} cases"
    return f"as {_extreme(here, upper=upper)} in {count} of {size} cases"


def _is_middling(here: Measure, count: int, *, size: int) -> bool:
    no_band = here.usual is None and not here.moved
    return no_band and size >= RARE_FROM and count > _MIDDLE * size


def _extreme(here: Measure, *, upper: bool) -> str:
    if here.moved:
        return "much" if upper == (here.value > 0) else "little"
    return "high" if upper else "low"


# --- the measures of a job ------------------------------------------------------------------------


def _outside(row: Reading, words: Vocabulary) -> float:
    """Return how far a reading lies outside its usual band, in widths of the band."""
    known = words.quantities.get(row.quantity)
    if known is None or known.typical is None or row.canonical is None:
        return 0.0
    low, high = known.typical
    return max(low - row.canonical, row.canonical - high, 0.0) / max(high - low, 1e-9)


def _raw(job: Job, words: Vocabulary) -> Iterator[Measure]:
    """Yield one reading as found a quantity: of several places, the most unusual one."""
    rows = [
        row
        for group in job.reading_sets
        if group.phase is Phase.BEFORE
        for row in group.readings
        if row.canonical is not None
    ]
    rows.sort(key=lambda row: -_outside(row, words))
    for row in rows:
        known = words.quantities.get(row.quantity)
        name = known.name if known else row.quantity
        yield Measure(
            key=row.quantity,
            value=float(row.canonical or 0.0),
            what=" ".join(part for part in (name, row.position, row.typed, row.unit) if part),
            canonical=known.unit if known else "",
            unit=row.unit if known and same_kind(row.unit, known.unit) else "",
            usual=_outside(row, words) == 0 if known and known.typical else None,
        )


def derived_key(made: DerivedReading) -> str:
    """Return the key under which a derived reading is compared."""
    return f"= {made.key}" + (f"|{made.position}" if made.position else "")


def unit_in(typed: Iterable[str], canonical: str) -> str:
    """Return the first of the ``typed`` units that says values of the kind of ``canonical``."""
    units = dict.fromkeys(typed)
    changes = [_TEMPERATURES[unit] for unit in units if unit in _TEMPERATURES]
    for unit in (*units, *changes):
        if same_kind(unit, canonical):
            return unit
    return canonical


def _derived(job: Job, words: Vocabulary, altitude_m: float) -> Iterator[Measure]:
    for group in job.reading_sets:
        if group.phase is not Phase.BEFORE:
            continue
        for made in derive(group, vehicle=job.vehicle, altitude_m=altitude_m):
            name = words.derived[made.key].name if made.key in words.derived else made.key
            unit = unit_in([row.unit for row in group.readings], made.unit)
            said = plain_number(
                convert(made.value, made.unit, unit) if unit in UNITS else made.value
            )
            yield Measure(
                key=derived_key(made),
                value=made.value,
                what=f"{name} {said}" + ("" if unit in _BARE else f" {unit}"),
                canonical=made.unit,
                unit=unit if unit in UNITS else "",
            )


def _difference(row: Response, check: str, words: Vocabulary) -> Measure | None:
    """Return what an action moved; None where no two numbers were taken."""
    known = words.quantities.get(row.quantity or "")
    if row.quantity is None or row.before is None or row.after is None:
        return None
    canonical = _TEMPERATURES.get(known.unit, known.unit) if known else ""
    unit = _TEMPERATURES.get(row.unit or "", row.unit or canonical)
    name = known.name if known else row.quantity.replace("_", " ")
    action = words.check_name(check).partition(" (")[0]
    made = Measure(
        key=f"{row.quantity} change by {check}",
        value=row.after - row.before,
        what="",
        canonical=canonical,
        unit=unit if same_kind(unit, canonical) else "",
        moved=True,
    )
    said = f"{name.partition(',')[0]} {_movement(made.said(made.value))} {unit}".rstrip()
    return replace(made, what=f"{said} ({action[:1].lower()}{action[1:]})")


def case_measures(job: Job, words: Vocabulary, *, altitude_m: float = 0.0) -> tuple[Measure, ...]:
    """Return as-found readings, derived readings and responses, the first of each key."""
    moved = [
        _difference(row, finding.check, words)
        for finding in job.findings
        for row in finding.responses
    ]
    found = (*_raw(job, words), *_derived(job, words, altitude_m), *filter(None, moved))
    unique: dict[str, Measure] = {}
    for row in found:
        unique.setdefault(row.key, row)
    return tuple(unique.values())
