"""Each reading of a job beside its usual band and where the likely causes' cases lie."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from kb.case.derived import DerivedReading, derive
from kb.case.model import Finding, Job, Phase, Reading, ReadingSet
from kb.case.terms import Vocabulary
from kb.case.units import convert, same_kind
from kb.diagnosis.cause_readings import CauseReadings, CauseValues
from kb.diagnosis.causes import CauseModel
from kb.retrieval.measures import derived_key, plain_number, unit_in

# Strips shown at once, and causes on each; more do not fit a phone (our choice).
MOST_STRIPS: Final = 8
MOST_CAUSES: Final = 4
# Widths of the usual band beyond which "further out" says no more (our choice).
_FAR_OUT: Final = 3.0


class Spot(NamedTuple):
    """One value of this job, in the unit of its strip.

    ``low`` and ``high`` are the ends of a range that was typed. ``bound`` is ``over`` or ``under``
    where only that much is known. ``said`` is the number as typed in ``unit``, or as computed.
    """

    phase: Phase
    value: float
    said: str
    unit: str
    state: tuple[str, ...] = ()
    position: str | None = None
    low: float | None = None
    high: float | None = None
    bound: str | None = None


class Strip(NamedTuple):
    """One reading of a job beside its usual band and the cases of the likely causes.

    All numbers are in ``unit``. ``unread`` are readings without a number (OL). ``sources`` are the
    readings that a derived one was computed from. ``telling`` is above 0 where the causes differ or
    the reading as found lies outside the band.
    """

    key: str
    name: str
    unit: str
    spots: tuple[Spot, ...]
    unread: tuple[str, ...] = ()
    band: tuple[float, float] | None = None
    band_when: str = ""
    causes: tuple[CauseValues, ...] = ()
    sources: tuple[str, ...] = ()
    telling: float = 0.0


@dataclass(slots=True)
class _Draft:
    """A strip while it is gathered: its values in ``unit``, its band in the unit of comparison."""

    key: str
    name: str
    canonical: str
    unit: str
    spots: list[Spot] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    band: tuple[float, float] | None = None
    band_when: str = ""
    sources: tuple[str, ...] = ()
    converts: bool = field(init=False)

    def add(self, spot: Spot) -> None:
        """Take a value in, once for each phase and place."""
        for row in self.spots:
            if (row.value, row.phase, row.position) == (spot.value, spot.phase, spot.position):
                return
        self.spots.append(spot)

    def __post_init__(self) -> None:
        self.converts = self.canonical != self.unit and same_kind(self.canonical, self.unit)

    def said(self, value: float) -> float:
        """Return a value in the unit of comparison in the one that is shown."""
        return convert(value, self.canonical, self.unit) if self.converts else value


def said_in(value: float, canonical: str, unit: str) -> float:
    """Return a value of unit ``canonical`` in ``unit``, as it is where neither is known."""
    return convert(value, canonical, unit) if same_kind(canonical, unit) else value


def units_typed(job: Job, group: ReadingSet) -> list[str]:
    """Return the units of a set's readings with those of all of the job behind them."""
    sets = (group, *job.reading_sets)
    return [row.unit for one in sets for row in one.readings]


class _Gathered:
    """The readings of one job, gathered into a draft a thing that was read."""

    def __init__(self, job: Job, words: Vocabulary, altitude_m: float) -> None:
        self.job = job
        self.words = words
        self.drafts: dict[str, _Draft] = {}
        for group in job.reading_sets:
            for row in group.readings:
                self._take_reading(group, row)
            for made in derive(group, vehicle=job.vehicle, altitude_m=altitude_m):
                self._take_derived(group, made)
        for finding in job.findings:
            self._take_responses(finding)

    def _take_reading(self, group: ReadingSet, row: Reading) -> None:
        draft = self.drafts.get(row.quantity)
        if draft is None:
            draft = self.drafts[row.quantity] = self._draft_for(row)
        if row.canonical is None or not math.isfinite(row.canonical):
            draft.unread.append(" ".join(part for part in (row.position, row.typed) if part))
            return
        is_range = row.word is None and row.low != row.high
        draft.add(
            Spot(
                phase=group.phase,
                state=group.state,
                position=row.position,
                value=draft.said(row.canonical),
                said=row.typed,
                unit=row.unit,
                low=draft.said(row.low) if is_range and row.low is not None else None,
                high=draft.said(row.high) if is_range and row.high is not None else None,
                bound=row.word if row.word in {"over", "under"} else None,
            )
        )

    def _draft_for(self, row: Reading) -> _Draft:
        known = self.words.quantities.get(row.quantity)
        if known is None:
            name = row.quantity.replace("_", " ")
            return _Draft(key=row.quantity, name=name, canonical=row.unit, unit=row.unit)
        return _Draft(
            key=row.quantity,
            name=known.name,
            canonical=known.unit,
            unit=row.unit if same_kind(row.unit, known.unit) else known.shown,
            band=known.typical,
            band_when=known.typical_when,
        )

    def _take_derived(self, group: ReadingSet, made: DerivedReading) -> None:
        key = derived_key(made)
        if key not in self.drafts:
            self.drafts[key] = self._draft_for_derived(group, made)
        draft = self.drafts[key]
        value = draft.said(made.value)
        draft.add(
            Spot(
                phase=group.phase,
                state=group.state,
                value=value,
                said=plain_number(value),
                unit=draft.unit,
            )
        )

    def _draft_for_derived(self, group: ReadingSet, made: DerivedReading) -> _Draft:
        known = self.words.derived.get(made.key)
        name = known.name if known else made.key.replace("_", " ")
        quantities = self.words.quantities
        return _Draft(
            key=derived_key(made),
            name=f"{name}, {made.position}" if made.position else name,
            canonical=made.unit,
            unit=unit_in(units_typed(self.job, group), made.unit),
            sources=tuple(
                quantities[row].name if row in quantities else row.replace("_", " ")
                for row in made.sources
            ),
        )

    def _take_responses(self, finding: Finding) -> None:
        for row in finding.responses:
            draft = self.drafts.get(row.quantity or "")
            if draft is None or row.after is None or row.after_typed is None:
                continue
            after = draft.said(row.after)
            if after in [spot.value for spot in draft.spots if spot.phase is Phase.DURING]:
                continue
            draft.add(
                Spot(
                    phase=Phase.DURING,
                    position=row.position,
                    value=after,
                    said=row.after_typed,
                    unit=row.unit or draft.unit,
                )
            )


def strips_of(
    job: Job, model: CauseModel, causes: Sequence[str], *, altitude_m: float = 0.0
) -> tuple[Strip, ...]:
    """Return a strip for each reading of a job that can be set beside something, best first.

    Parameters
    ----------
    job : Job
        Open or closed.
    model : CauseModel
        Fitted; it holds what the cases of the causes read.
    causes : sequence of str
        Likely causes, likeliest first; the first four are taken.
    altitude_m : float
        Of the shop, for readings derived from gauge pressure.

    Returns
    -------
    tuple of Strip
        Left out is what has no number, and a single number with nothing beside it.
    """
    drafts = _Gathered(job, model.words, altitude_m).drafts.values()
    beside = CauseReadings(model, causes[:MOST_CAUSES], without=job.id)
    made = [_strip(draft, beside.of(draft.key)) for draft in drafts]
    return tuple(sorted(filter(_is_worth_it, made), key=lambda row: -row.telling))


def _is_worth_it(row: Strip) -> bool:
    return bool(row.spots) and bool(row.band or row.causes or len(row.spots) > 1)


def _strip(draft: _Draft, beside: Sequence[CauseValues]) -> Strip:
    """Return what was gathered, with how much it tells; all in the unit that is shown."""
    spots, causes, band = tuple(draft.spots), tuple(beside), draft.band
    if draft.converts:
        causes = tuple(_values_in(draft, beside))
        band = band and (draft.said(band[0]), draft.said(band[1]))
    return Strip(
        key=draft.key,
        name=draft.name,
        unit=draft.unit,
        spots=spots,
        unread=tuple(draft.unread),
        band=band,
        band_when=draft.band_when if band else "",
        causes=causes,
        sources=draft.sources,
        telling=_outside(spots, band) + _apart(spots, causes),
    )


def _values_in(draft: _Draft, beside: Iterable[CauseValues]) -> Iterator[CauseValues]:
    """Yield what the cases of the causes read in the unit that is shown."""
    for row in beside:
        yield CauseValues(
            cause=row.cause,
            count=row.count,
            values=tuple(map(draft.said, row.values)),
            low=draft.said(row.low),
            middle=draft.said(row.middle),
            high=draft.said(row.high),
        )


def _outside(spots: Iterable[Spot], band: tuple[float, float] | None) -> float:
    """Return how far a reading as found lies outside the band, in widths of the band."""
    if band is None:
        return 0.0
    low, high = band
    width = max(high - low, 1e-9)
    found = [row.value for row in spots if row.phase is Phase.BEFORE]
    out = [max(low - value, value - high, 0.0) / width for value in found]
    return min(max(out, default=0.0), _FAR_OUT)


def _apart(spots: Sequence[Spot], causes: Sequence[CauseValues]) -> float:
    """Return how far apart the causes' middles lie, as a share of all that is drawn."""
    middles = [row.middle for row in causes]
    if len(middles) < 2:
        return 0.0
    drawn = [*middles, *(row.value for row in spots)]
    drawn += [end for row in causes for end in (row.low, row.high)]
    width = max(drawn) - min(drawn)
    return (max(middles) - min(middles)) / width if width > 0 else 0.0
