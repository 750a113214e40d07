"""The frozen values of a job; a closed job with a cause and a proof is a case.

Money is kept in cents; what was not recorded is None or an empty tuple, never 0.
"""

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from kb.case.parts import FittedPart


class Phase(StrEnum):
    """When a reading set was taken."""

    BEFORE = "before"
    DURING = "during"
    AFTER = "after"


class Polarity(StrEnum):
    """Whether a symptom was there."""

    YES = "yes"
    NO = "no"
    WEAK = "weak"
    PAST = "past"


class Change(StrEnum):
    """What a symptom did when something was changed."""

    GONE = "gone"
    BETTER = "better"
    SAME = "same"
    WORSE = "worse"
    MOVED = "moved"
    APPEARED = "appeared"


class JobState(StrEnum):
    """Where a job stands."""

    OPEN = "open"
    WAITING = "waiting"
    CLOSED = "closed"


class Standing(StrEnum):
    """How far a case is trusted."""

    PROVEN = "proven"
    LIKELY = "likely"
    UNPROVEN = "unproven"
    OVERTURNED = "overturned"


class FixKind(StrEnum):
    """What was done about the cause."""

    REPLACED = "replaced"
    REPAIRED = "repaired"
    ADJUSTED = "adjusted"
    CLEANED = "cleaned"
    PROGRAMMED = "programmed"
    WORKAROUND = "workaround"
    DECLINED = "declined"


class Origin(StrEnum):
    """Where a record came from; invented ones are never witnesses, another shop's never counted."""

    SHOP = "shop"
    DEMONSTRATION = "demonstration"
    IMPORTED = "imported"
    INVENTED = "invented"
    ANOTHER_SHOP = "another_shop"
    CONFIRMED_HERE = "confirmed_here"


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """The car; ``odometer`` is in ``odometer_unit`` (``mi`` or ``km``) as typed."""

    year: int | None = None
    make: str | None = None
    model: str | None = None
    engine: str | None = None
    transmission: str | None = None
    vin: str | None = None
    family: str | None = None
    odometer: float | None = None
    odometer_unit: str | None = None
    refrigerant: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint:
    """The customer's own sentence, never overwritten."""

    said: str = ""
    frequency: str | None = None
    since: str | None = None
    before_it: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """What an action changed.

    ``before`` and ``after`` are in the quantity's canonical unit, what was typed in ``unit``.
    """

    change: Change | None = None
    action: str | None = None
    quantity: str | None = None
    position: str | None = None
    before_typed: str | None = None
    after_typed: str | None = None
    unit: str | None = None
    before: float | None = None
    after: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Symptom:
    """One thing seen, heard, felt or smelt, with the conditions under which it shows.

    ``concept`` is a key of the vocabulary's symptoms, or None where the words fit none.
    ``not_conditions`` are conditions under which it is said not to show.
    """

    text: str
    concept: str | None = None
    polarity: Polarity = Polarity.YES
    position: str | None = None
    conditions: tuple[str, ...] = ()
    not_conditions: tuple[str, ...] = ()
    response: Response | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A number with a quantity and a unit.

    ``canonical`` (middle of a range, or its one bound), ``low`` and ``high`` are in the canonical
    unit of the quantity. Where ``word`` is ``over`` or ``under`` one bound is known; where it is
    ``open`` or ``no_reading`` none is, and all three are None.
    """

    quantity: str
    typed: str
    unit: str
    canonical: float | None = None
    low: float | None = None
    high: float | None = None
    word: str | None = None
    position: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingSet:
    """Readings taken under the same condition; ``finding`` is an index into the job's findings."""

    phase: Phase = Phase.BEFORE
    state: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()
    finding: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """A trouble code in SAE J2012 form with the module that set it and its status."""

    code: str
    module: str | None = None
    status: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """That modules were asked for codes; ``none_found`` is a fact of its own."""

    none_found: bool = False
    modules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A check with its subject, its outcome and the minutes that it took."""

    check: str
    outcome: str
    subject: str | None = None
    repeats: int = 1
    minutes: float | None = None
    note: str = ""
    responses: tuple[Response, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """A part or a piece of work that did not cure."""

    part: str
    text: str = ""
    cost_cents: int | None = None
    minutes: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """How the cause was shown."""

    method: str
    text: str = ""
    photo: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One choice laid before the customer."""

    what: str
    kind: FixKind | None = None
    price_cents: int | None = None
    remains: str = ""
    risk: str = ""
    chosen: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterCheck:
    """What showed that the fix holds."""

    kind: str
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """How a job ended.

    ``held``: the holding period passed without a comeback; ``overturned_by``: the job that showed
    the cause to be wrong; ``until``: the day to which a work-around is meant to last.
    """

    closed: date
    end: str
    cause: str | None = None
    second_cause: str | None = None
    proofs: tuple[Proof, ...] = ()
    fix: FixKind | None = None
    fix_text: str = ""
    parts: tuple[FittedPart, ...] = ()
    until: date | None = None
    options: tuple[Option, ...] = ()
    after_checks: tuple[AfterCheck, ...] = ()
    held: bool = False
    overturned_by: str | None = None
    lesson: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A car with a complaint, from the moment it is written up.

    ``lines`` keeps everything as typed; ``fields`` are closed fields of imported records by name.
    """

    id: str
    opened: date
    state: JobState = JobState.OPEN
    origin: Origin = Origin.SHOP
    system: str | None = None
    invoice: str | None = None
    waits_for: str | None = None
    comeback_of: str | None = None
    vehicle: Vehicle = field(default_factory=Vehicle)
    complaint: Complaint = field(default_factory=Complaint)
    lines: tuple[str, ...] = ()
    symptoms: tuple[Symptom, ...] = ()
    reading_sets: tuple[ReadingSet, ...] = ()
    codes: tuple[Code, ...] = ()
    scan: Scan | None = None
    findings: tuple[Finding, ...] = ()
    tried: tuple[Tried, ...] = ()
    closing: Closing | None = None
    fields: tuple[tuple[str, str], ...] = ()
    body: str = ""

    @property
    def cause(self) -> str | None:
        """The proven cause, or None while the job is open or ended without one."""
        return self.closing.cause if self.closing else None

    @property
    def is_case(self) -> bool:
        """True for a closed job with a cause and at least one proof."""
        return self.closing is not None and bool(self.closing.cause and self.closing.proofs)
