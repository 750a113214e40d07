"""What programs send: the bodies and the questions of the API."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from kb.case.iso_week import IsoWeek
from kb.case.model import FixKind, Phase
from kb.workflow.entries import STATUSES
from web.api.shapes import Asked, Cents, Key, Name, Number, PhotoHash, Typed, Words
from web.close_form import MOST_OPTIONS, PROOFS
from web.close_parts import PART_ROWS
from web.forms import MAX_MINUTES

# Rows of one list (our choice: more than any check gives at once).
_MOST_ROWS = 50
Minutes = Annotated[float, Field(ge=0, le=MAX_MINUTES)]
# "end" is the shop's word for how a job ended; which there are is told by /api/v1/words.


class VehicleAsked(Asked):
    """The car; what is not known is left out."""

    year: Annotated[int, Field(ge=1900, le=2100)] | None = None
    make: Words | None = None
    model: Words | None = None
    engine: Words | None = None
    transmission: Words | None = None
    vin: Annotated[str, StringConstraints(max_length=30, pattern=r"^[^\x00]*$")] | None = None
    odometer: Annotated[int, Field(ge=0, le=9_999_999)] | None = None
    odometer_unit: Literal["mi", "km"] | None = None
    refrigerant: Words | None = None


class JobAsked(Asked):
    """A job to open; a known invoice number gives that job back unchanged."""

    text: Annotated[Typed, Field(min_length=1, description="what was heard, seen and measured")]
    said: Annotated[Typed, Field(description="the customer's own sentence")] = ""
    vehicle: VehicleAsked | None = None
    invoice: Name | None = None
    comeback_of: Name | None = None


class TextAsked(Asked):
    """A text in the shop's shorthand; it is read as if it had been typed on the job's page."""

    text: Annotated[Typed, Field(min_length=1)]


class ReadingAsked(Asked):
    """A number as it was read, with its unit."""

    quantity: Key
    value: Annotated[str, StringConstraints(min_length=1, max_length=40)] | Number
    unit: Annotated[str, StringConstraints(min_length=1, max_length=20)]
    position: Words | None = None


class ReadingsAsked(Asked):
    """Readings that were taken under the same conditions."""

    phase: Phase = Phase.BEFORE
    state: Annotated[tuple[Key, ...], Field(max_length=_MOST_ROWS)] = ()
    readings: Annotated[tuple[ReadingAsked, ...], Field(min_length=1, max_length=_MOST_ROWS)]


class FindingAsked(Asked):
    """A check with its outcome."""

    check: Key
    outcome: Key
    subject: Words | None = None
    repeats: Annotated[int, Field(ge=1, le=100)] = 1
    minutes: Minutes | None = None
    note: Words = ""


class CodeAsked(Asked):
    """A trouble code in the form of SAE J2012."""

    code: Annotated[str, StringConstraints(pattern=r"^[PBCU][0-9A-F]{4}(-[0-9A-F]{2})?$")]
    module: Words | None = None
    status: Literal[STATUSES] | None = None  # type: ignore[valid-type]


class CodesAsked(Asked):
    """Trouble codes; an empty list says that the modules were asked and had none."""

    codes: Annotated[tuple[CodeAsked, ...], Field(max_length=_MOST_ROWS)]
    modules: Annotated[tuple[Words, ...], Field(max_length=_MOST_ROWS)] = ()


class ProofAsked(Asked):
    """How the cause was shown; a photo is one of the job's own."""

    method: Key
    text: Typed = ""
    photo: PhotoHash | None = None


class PartAsked(Asked):
    """A part that was fitted."""

    part: Annotated[str, StringConstraints(min_length=1, max_length=120, pattern=r"^[^\x00]*$")]
    supplier: Words | None = None
    lot: Words | None = None


class OptionAsked(Asked):
    """One choice laid before the customer."""

    what: Annotated[Words, Field(min_length=1)]
    kind: FixKind | None = None
    price_cents: Cents | None = None
    remains: Words = ""
    risk: Words = ""
    chosen: bool = False


class AfterCheckAsked(Asked):
    """What showed that the repair holds."""

    kind: Key
    text: Typed = ""


class ClosingAsked(Asked):
    """The answers that turn a job into a case; the same invoice number twice makes one."""

    invoice: Name
    job: Annotated[
        Name | None, Field(description="where the job was opened without the invoice number")
    ] = None
    end: Key = "fixed"
    cause: Key | None = None
    second_cause: Key | None = None
    proofs: Annotated[tuple[ProofAsked, ...], Field(max_length=len(PROOFS))] = ()
    fix: FixKind | None = None
    fix_text: Typed = ""
    parts: Annotated[tuple[PartAsked, ...], Field(max_length=len(PART_ROWS))] = ()
    until: date | None = None
    options: Annotated[tuple[OptionAsked, ...], Field(max_length=MOST_OPTIONS)] = ()
    after: Annotated[tuple[ReadingAsked, ...], Field(max_length=_MOST_ROWS)] = ()
    after_checks: Annotated[tuple[AfterCheckAsked, ...], Field(max_length=3)] = ()
    lesson: Typed = ""
    told: Annotated[Words, Field(description="who heard of the danger of a declined repair")] = ""
    comeback_of: Name | None = None


# --- questions -----------------------------------------------------------------------------------


class FindQuery(Asked):
    """A search."""

    text: Annotated[
        str,
        StringConstraints(min_length=1, max_length=4000, pattern=r"^[^\x00]*[^\x00\s][^\x00]*$"),
    ]
    vehicle: Annotated[Words, Field(description="year make model engine")] = ""
    top: Annotated[int, Field(ge=1, le=50, description="how many prior cases")] = 5


class AnswersQuery(Asked):
    """What is asked of an open job."""

    top: Annotated[int, Field(ge=1, le=50, description="how many prior cases")] = 5


class JobsQuery(Asked):
    """Which jobs are listed: the open ones, or the one of an invoice number."""

    invoice: Name | None = None


class WeekQuery(Asked):
    """Which week; the newest whole one unless told otherwise."""

    week: Annotated[str, StringConstraints(pattern=r"^[0-9]{4}-W[0-9]{2}$")] | None = None

    def wanted(self, today: date) -> IsoWeek:
        """Return the week that is asked for."""
        return IsoWeek.parse(self.week) if self.week else IsoWeek.last_whole(today)


class ChangesQuery(Asked):
    """Where a program stopped reading what changed; "0" begins with the first line."""

    since: Annotated[
        str, StringConstraints(pattern=r"^(0|[1-9][0-9]{0,8}\.[0-9a-f]{16})$", max_length=30)
    ] = "0"
    limit: Annotated[int, Field(ge=1, le=500)] = 100


class PhotoQuery(Asked):
    """What a photo shows, in somebody's words."""

    caption: Words = ""
