"""From the text of a case file to a job; every refusal names file, line and reason."""

import re
from collections.abc import Callable, Mapping
from typing import Any, Final

import tomli

from kb.case.casefile_header import JOB_PLAIN, Header, T, Table, split_header
from kb.case.model import (
    AfterCheck,
    Change,
    Closing,
    Code,
    Complaint,
    Finding,
    FixKind,
    Job,
    JobState,
    Option,
    Origin,
    Phase,
    Polarity,
    Proof,
    Reading,
    ReadingSet,
    Response,
    Scan,
    Symptom,
    Tried,
    Vehicle,
)
from kb.case.parts import FittedPart
from kb.case.terms import OPEN_OUTCOMES, Vocabulary, load_vocabulary
from kb.case.units import parse_value, to_canonical
from kb.errors import CaseFileError, KBError

# A case is a page, not a book; the cap bounds the work that one file can cause (our choice).
MAX_FILE_BYTES: Final = 256_000


class _Reader(Header):
    """Turns the tables of one header into the values of a job."""

    def reading(self, table: Table) -> Reading:
        """Return one reading, its canonical values computed."""
        self.known(table, Reading, also=("value",), never=_COMPUTED)
        quantity = self.required(table, "quantity", self.words.known_quantities)
        typed, unit = str(table.get("value", "")), str(table.get("unit", ""))
        position = self.optional(table, "position")
        return make_reading(self.words, quantity, typed, unit=unit, position=position)

    def reading_set(self, table: Table) -> ReadingSet:
        """Return one reading set."""
        self.known(table, ReadingSet)
        rows = tuple(self.reading(row) for row in self.tables(table, "readings"))
        phase = self.enum(table, "phase", Phase) or Phase.BEFORE
        return self.plain(table, ReadingSet, phase=phase, readings=rows)

    def response(self, table: Table) -> Response:
        """Return one response, its canonical values computed."""
        self.known(table, Response, never=("before_typed", "after_typed"))
        made: dict[str, Any] = {"change": self.enum(table, "change", Change)}
        quantity = table.get("quantity")
        self.term(quantity, self.words.known_quantities, "a quantity")
        for side in ("before", "after"):
            if side in table:
                read = make_reading(
                    self.words, str(quantity), str(table[side]), unit=str(table.get("unit", ""))
                )
                made[side], made[f"{side}_typed"] = read.canonical, str(table[side])
        return self.plain(table, Response, **made)

    def symptom(self, table: Table) -> Symptom:
        """Return one symptom."""
        self.known(table, Symptom)
        self.term(table.get("concept"), self.words.symptoms, "a symptom")
        for name in ("conditions", "not_conditions"):
            for key in self.strings(name, table.get(name, [])):
                self.term(key, self.words.conditions, "a condition")
        polarity = self.enum(table, "polarity", Polarity) or Polarity.YES
        response = self.response(table["response"]) if "response" in table else None
        return self.plain(table, Symptom, polarity=polarity, response=response)

    def finding(self, table: Table) -> Finding:
        """Return one finding; the outcome must be on the check's list."""
        self.known(table, Finding)
        check = self.required(table, "check", self.words.known_checks)
        outcomes = (*self.words.check(check).outcomes, *OPEN_OUTCOMES)
        if table.get("outcome") not in outcomes:
            raise self.fail(
                f"expected outcome of {check} as one of {', '.join(outcomes)}, "
                f"got '{table.get('outcome')}'",
                str(table.get("outcome")),
            )
        rows = tuple(self.response(row) for row in self.tables(table, "responses"))
        return self.plain(table, Finding, responses=rows)

    def tried(self, table: Table) -> Tried:
        """Return one part or piece of work that did not cure."""
        self.known(table, Tried, also=("cost",), never=("cost_cents",))
        return self.plain(_without(table, "cost"), Tried, cost_cents=self.cents(table, "cost"))

    def option(self, table: Table) -> Option:
        """Return one choice laid before the customer."""
        self.known(table, Option, also=("price",), never=("price_cents",))
        return self.plain(
            _without(table, "price"),
            Option,
            kind=self.enum(table, "kind", FixKind),
            price_cents=self.cents(table, "price"),
        )

    def closing(self, top: Table) -> Closing | None:
        """Return how the job ended, None where the file has no ``[closing]``."""
        table = top.get("closing")
        if table is None:
            self._refuse_loose(top)
            return None
        self.known(table, Closing, never=_CLOSING_PARTS)
        self.required(table, "end", self.words.job_ends)
        # A record of another system keeps the words that it came with.
        if top.get("origin") != Origin.IMPORTED:
            for key in ("cause", "second_cause"):
                self.term(table.get(key), self.words.known_causes, "a cause")
        proofs = tuple(self._term_row(row, Proof, "method") for row in self.tables(top, "proof"))
        after = tuple(
            self._term_row(row, AfterCheck, "kind") for row in self.tables(top, "after_check")
        )
        return self.plain(
            _without(table, "until"),
            Closing,
            closed=self.date(top, "closed"),
            fix=self.enum(table, "fix", FixKind),
            proofs=proofs,
            parts=tuple(self.part(row) for row in self.tables(top, "part")),
            until=self.date(table, "until") if "until" in table else None,
            options=tuple(self.option(row) for row in self.tables(top, "option")),
            after_checks=after,
        )

    def _refuse_loose(self, top: Table) -> None:
        """Refuse parts of a closing where the file has none; they would be lost."""
        for key in ("closed", "proof", "part", "option", "after_check"):
            if key in top:
                raise self.fail(f"expected [closing] in a file with '{key}', got none", key)

    def _term_row(self, table: Table, kind: type[T], key: str) -> T:
        rows = self.words.proof_methods if kind is Proof else self.words.after_checks
        self.known(table, kind)
        self.required(table, key, rows)
        return self.plain(table, kind)

    def part(self, table: Table) -> FittedPart:
        """Return one part that was fitted."""
        self.known(table, FittedPart)
        if not str(table.get("part", "")).strip():
            raise self.fail("expected what was fitted as part, got nothing", "part")
        return self.plain(table, FittedPart)

    def code(self, table: Table) -> Code:
        """Return one trouble code."""
        self.known(table, Code)
        return self.plain(table, Code)

    def _refuse_strays(self, lists: Mapping[str, tuple[Any, ...]]) -> None:
        """Refuse reading sets of a finding that is not there."""
        count = len(lists["findings"])
        for row in lists["reading_sets"]:
            if row.finding is not None and not 0 <= row.finding < count:
                raise self.fail(
                    f"expected finding below {count}, got {row.finding}", f"finding = {row.finding}"
                )

    def job(self, top: Table, body: str) -> Job:
        """Return the whole job."""
        for key in top:
            if key not in _TOP_KEYS:
                raise self.fail(f"expected one of {', '.join(_TOP_KEYS)}, got '{key}'", key)
        self.term(top.get("system"), self.words.systems, "a system")
        for key, kind in (("vehicle", Vehicle), ("complaint", Complaint), ("scan", Scan)):
            self.known(top.get(key, {}), kind)
        closing = self.closing(top)
        state = self.enum(top, "state", JobState) or (JobState.CLOSED if closing else JobState.OPEN)
        if closing and state is not JobState.CLOSED:
            raise self.fail(f"expected a file with [closing] as closed, got '{state}'", "state")
        values = {key: top[key] for key in JOB_PLAIN if key in top}
        lists = {
            name: tuple(make(self, row) for row in self.tables(top, key))
            for key, (name, make) in _LISTS.items()
        }
        self._refuse_strays(lists)
        return self.plain(
            values,
            Job,
            opened=self.date(top, "opened"),
            state=state,
            origin=self.enum(top, "origin", Origin) or Origin.SHOP,
            vehicle=self.plain(top.get("vehicle", {}), Vehicle),
            complaint=self.plain(top.get("complaint", {}), Complaint),
            scan=self.plain(top["scan"], Scan) if "scan" in top else None,
            fields=tuple((str(k), str(v)) for k, v in top.get("fields", {}).items()),
            closing=closing,
            body=body,
            **lists,
        )


_LISTS: Final[dict[str, tuple[str, Callable[[_Reader, Table], Any]]]] = {
    "symptom": ("symptoms", _Reader.symptom),
    "reading_set": ("reading_sets", _Reader.reading_set),
    "code": ("codes", _Reader.code),
    "finding": ("findings", _Reader.finding),
    "tried": ("tried", _Reader.tried),
}
_COMPUTED: Final = ("typed", "canonical", "low", "high", "word")
_CLOSING_PARTS: Final = ("closed", "proofs", "parts", "options", "after_checks")
_TOP_KEYS: Final = (
    *JOB_PLAIN,
    *_LISTS,
    "state", "origin", "opened", "closed", "vehicle", "complaint", "scan", "fields", "closing",
    "proof", "part", "option", "after_check",
)  # fmt: skip


def _without(table: Table, key: str) -> dict[str, Any]:
    return {name: value for name, value in table.items() if name != key}


def make_reading(
    words: Vocabulary, quantity: str, typed: str, *, unit: str, position: str | None = None
) -> Reading:
    """Return a reading of ``quantity`` typed as ``typed`` in ``unit``.

    Raises
    ------
    KBError
        If the value, the unit or the limits do not fit (see ``kb.case.units``).
    """
    row, value = words.quantity(quantity), parse_value(typed)
    low = None if value.low is None else to_canonical(value.low, unit, row)
    high = None if value.high is None else to_canonical(value.high, unit, row)
    bounds = [bound for bound in (low, high) if bound is not None]
    middle = bounds[0] if len(set(bounds)) == 1 else sum(bounds) / 2 if bounds else None
    return Reading(
        quantity=quantity,
        typed=value.typed,
        unit=unit,
        canonical=middle,
        low=low,
        high=high,
        word=value.word,
        position=position,
    )


def read_case(
    text: str,
    *,
    name: str = "case file",
    words: Vocabulary | None = None,
    most: int = MAX_FILE_BYTES,
) -> Job:
    """Return the job that a case file of at most ``most`` bytes holds.

    Raises
    ------
    CaseFileError
        Naming file, line where known, what was expected and what was got.
    """
    if len(text.encode("utf-8", "replace")) > most:
        raise CaseFileError(f"expected at most {most} bytes, got more", name=name)
    header, body = split_header(text, name)
    top = _parse(header, name)
    reader = _Reader(name, words or load_vocabulary(), header)
    try:
        return reader.job(top, body)
    except CaseFileError:
        raise
    except KBError as error:
        raise reader.fail(str(error), getattr(error, "text", "").split(" ")[0]) from error
    except (TypeError, ValueError, AttributeError, LookupError) as error:
        raise CaseFileError(
            f"expected the shape of a case file, got: {error}", name=name
        ) from error


def _parse(header: str, name: str) -> Table:
    # Beside its own error, tomllib lets through those of endless nesting and of endless numbers.
    try:
        return tomli.loads(header, parse_float=str)
    except (ValueError, RecursionError) as error:
        at = re.search(r"line (\d+)", str(error))
        last = header.count("\n") + 2 if "end of document" in str(error) else None
        line = int(at[1]) + 1 if at else last
        raise CaseFileError(f"expected TOML, got: {error}", name=name, line=line) from error
