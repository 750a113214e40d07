"""What programs are told: problems, writes, answers, the week, what changed, the words."""

from datetime import date, datetime
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from web.api.shapes import Told


class Row(BaseModel):
    """A row whose stable names are listed; later versions may add some."""

    model_config = ConfigDict(extra="allow", frozen=True)


class Problem(Row):
    """What went wrong (RFC 9457): what was expected, what was got, what to do next."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    errors: tuple["WrongPlace", ...] = ()


class WrongPlace(Told):
    """One place of a body or a question that is not as expected."""

    loc: tuple[str | int, ...]
    msg: str


class AskedTold(Row):
    """What was understood of a text; ``unread`` are the words that were not."""

    text: str
    symptoms: list[dict[str, Any]]
    readings: list[dict[str, Any]]
    codes: list[str]
    findings: list[dict[str, Any]]
    unread: list[str]


class Written(Told):
    """What a write left: the job, how often it was written, what was understood of a text.

    ``new`` is false where an invoice number was known already and nothing was written.
    """

    job: str
    state: str
    revision: int
    new: bool = True
    asked: AskedTold | None = None


class PhotoWritten(Told):
    """A photo that was kept."""

    job: str
    photo: str
    caption: str


# --- answers -------------------------------------------------------------------------------------


class MatchTold(Row):
    """A prior case, with the reasons why it is here."""

    case: str
    score: float
    chance: float
    cause: str | None
    standing: str
    reasons: list[dict[str, Any]]


class CauseTold(Row):
    """A likely cause; null is "something else"."""

    cause: str | None
    chance: float
    cases: list[str]


class CheckTold(Row):
    """A check worth doing next, with its cautions."""

    check: str | None
    subject: str | None
    bits: float
    minutes: float
    cautions: list[str]


class Answers(Row):
    """Prior cases, likely causes and the next check; the names of ``baybook find --json``.

    Where ``missing_parts`` of the ``parts`` of the memory did not answer, cases may be left out;
    ask again in a moment.
    """

    asked: AskedTold
    matches: list[MatchTold]
    causes: list[CauseTold]
    checks: list[CheckTold]
    nothing_like_it: bool
    parts: int
    missing_parts: int


class WeekTold(Row):
    """A week with the names of ``baybook week --json``."""

    week: str
    monday: date
    sunday: date
    running: bool
    made: datetime
    jobs: int
    cases: int
    first: list[str]
    rows: list[dict[str, Any]]
    decisions: list[dict[str, Any]]


class WeekCounting(Told):
    """That a week is being counted; ask again after the seconds of ``Retry-After``."""

    week: str
    counting: bool = True


class Change(Told):
    """One write about a job: who did what, and when."""

    seq: int
    at: datetime
    who: str
    verb: str
    job: str
    what: str


class Changes(Told):
    """What changed, oldest first; ``next`` is where to go on, ``more`` whether there is more now."""

    changes: tuple[Change, ...]
    next: str
    more: bool


class WordTold(Told):
    """A key with its name."""

    key: str
    name: str


class CauseWord(WordTold):
    """A cause, with the system that it belongs to."""

    system: str


class CheckWord(WordTold):
    """A check, with its outcomes, and what its subject is where it needs one."""

    outcomes: tuple[str, ...]
    subject: str | None


class QuantityWord(WordTold):
    """A quantity, with the units that its readings may be in."""

    units: tuple[str, ...] = Field(validation_alias="accepted")


class WordsTold(Told):
    """The keys that bodies may name, with what the shop added."""

    causes: tuple[CauseWord, ...]
    checks: tuple[CheckWord, ...]
    quantities: tuple[QuantityWord, ...]
    ends: tuple[WordTold, ...]
    proof_methods: tuple[WordTold, ...]
    after_checks: tuple[WordTold, ...]
