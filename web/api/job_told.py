"""A job as programs are told it; every name is the model's own or that of the answers."""

from datetime import date

from pydantic import Field

from web.api.shapes import Told


class VehicleTold(Told):
    """The car."""

    year: int | None
    make: str | None
    model: str | None
    engine: str | None
    transmission: str | None
    vin: str | None
    family: str | None
    odometer: float | None
    odometer_unit: str | None
    refrigerant: str | None


class ComplaintTold(Told):
    """The customer's own sentence, and what the customer answered."""

    said: str
    frequency: str | None
    since: str | None
    before_it: str | None


class SymptomTold(Told):
    """One thing seen, heard, felt or smelt."""

    text: str
    concept: str | None
    polarity: str
    position: str | None
    conditions: tuple[str, ...]
    not_conditions: tuple[str, ...]


class ReadingTold(Told):
    """A number as typed, and in the unit that all readings of its quantity are compared in."""

    quantity: str
    value: str = Field(validation_alias="typed")
    unit: str
    canonical: float | None
    position: str | None


class ReadingSetTold(Told):
    """Readings taken under the same conditions; ``finding`` counts the findings from 0."""

    phase: str
    state: tuple[str, ...]
    finding: int | None
    readings: tuple[ReadingTold, ...]


class CodeTold(Told):
    """A trouble code."""

    code: str
    module: str | None
    status: str | None


class ScanTold(Told):
    """That modules were asked for codes."""

    none_found: bool
    modules: tuple[str, ...]


class FindingTold(Told):
    """A check with its outcome."""

    check: str
    subject: str | None
    outcome: str
    repeats: int
    minutes: float | None
    note: str


class TriedTold(Told):
    """A part or a piece of work that did not cure."""

    part: str
    text: str
    cost_cents: int | None
    minutes: float | None


class ProofTold(Told):
    """How the cause was shown."""

    method: str
    text: str
    photo: str | None


class PartTold(Told):
    """A part that was fitted."""

    part: str
    supplier: str | None
    lot: str | None


class OptionTold(Told):
    """One choice laid before the customer."""

    what: str
    kind: str | None
    price_cents: int | None
    remains: str
    risk: str
    chosen: bool


class AfterCheckTold(Told):
    """What showed that the repair holds."""

    kind: str
    text: str


class ClosingTold(Told):
    """How a job ended."""

    closed: date
    end: str
    cause: str | None
    second_cause: str | None
    proofs: tuple[ProofTold, ...]
    fix: str | None
    fix_text: str
    parts: tuple[PartTold, ...]
    until: date | None
    options: tuple[OptionTold, ...]
    after_checks: tuple[AfterCheckTold, ...]
    held: bool
    overturned_by: str | None
    lesson: str


class PhotoTold(Told):
    """A photo of a job; its bytes are at ``/api/v1/photos/`` and this hash."""

    photo: str = Field(validation_alias="content_hash")
    caption: str


class JobTold(Told):
    """A job; a closed one with a cause and a proof is a case."""

    job: str = Field(validation_alias="id")
    state: str
    opened: date
    origin: str
    system: str | None
    invoice: str | None
    waits_for: str | None
    comeback_of: str | None
    vehicle: VehicleTold
    complaint: ComplaintTold
    lines: tuple[str, ...]
    symptoms: tuple[SymptomTold, ...]
    reading_sets: tuple[ReadingSetTold, ...]
    codes: tuple[CodeTold, ...]
    scan: ScanTold | None
    findings: tuple[FindingTold, ...]
    tried: tuple[TriedTold, ...]
    closing: ClosingTold | None
    body: str


class WholeJob(Told):
    """A job with what lies beside it."""

    job: JobTold
    revision: int
    standing: str | None
    photos: tuple[PhotoTold, ...]


class JobLine(Told):
    """A job in a list."""

    job: str
    state: str
    opened: date
    invoice: str | None
    vehicle: str
    waits_for: str | None
    cause: str | None


class JobList(Told):
    """The jobs that are not closed, or the one of an invoice number; oldest first."""

    jobs: tuple[JobLine, ...]
