"""Repairs left undone by the customer's choice, and what became of their cars."""

from collections.abc import Iterator, KeysView, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from kb.case.model import FixKind
from kb.store.week_records import LeftLine, OpenLine
from kb.store.week_rows import ClosedLine
from kb.workflow.declined import (
    DECLINED_ENDS,
    NO_REPAIR,
    REPAIRED,
    Choice,
    is_left_undone,
    read_back,
)
from kb.workflow.week.seen import BEFORE, Seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A job of the same car that was opened later; ``closed`` is None where it was open still."""

    job: str
    opened: date
    closed: date | None
    cause: str | None
    end: str | None
    comeback_of: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftUndone:
    """A job whose full repair was left undone.

    ``visits`` are those of the car since, oldest first. ``settled`` says that the repair was done
    since, that the cause proved to be another, or that a newer job of the car says the same.
    """

    line: ClosedLine
    left: LeftLine
    visits: tuple[Visit, ...]
    done: bool
    settled: bool

    @property
    def workaround(self) -> bool:
        """True where a lesser measure was chosen."""
        return _is_workaround(self.left, self.line)

    @property
    def declined(self) -> bool:
        """True where nothing was done about a proven cause because the customer declined."""
        said_no = self.line.end in DECLINED_ENDS or _is(self.left, FixKind.DECLINED)
        proven = bool(self.line.cause and self.left.proven)
        return proven and said_no and not self.workaround

    @property
    def cents(self) -> int | None:
        """Price of the repair that was declined; None where none was written down.

        The first price among the full repairs that were not chosen, else of what was declined:
        choices stand for each other, so their prices are not added up.
        """
        others = [row for row in self.left.options if not row.chosen]
        full = [row for row in others if row.kind not in NO_REPAIR]
        declined = [row for row in self.left.options if row.kind is FixKind.DECLINED]
        prices = (row.price_cents for row in (*full, *declined))
        return next((cents for cents in prices if cents is not None), None)

    @property
    def told(self) -> bool:
        """True where it is written down who was told of the danger."""
        return any(read_back(row.risk)[1] for row in self.left.options)


def _is_workaround(left: LeftLine, line: ClosedLine) -> bool:
    return line.end == "workaround" or _is(left, FixKind.WORKAROUND)


def _is(left: LeftLine, kind: FixKind) -> bool:
    return left.fix is kind or any(row.chosen and row.kind is kind for row in left.options)


def left_undone(seen: Seen) -> tuple[LeftUndone, ...]:
    """Return the repairs left undone in the last 52 weeks, oldest first.

    Only what was opened by the end of the week is looked at. How a job ended, what it cost and
    whether a later one overturned it are read as they stand now: what was changed in a closed job
    after that week cannot be told apart.
    """
    first = seen.week.shifted(1 - BEFORE).monday
    found = seen.unit.week_records.maybe_left(
        first, seen.week.sunday, repaired=REPAIRED, undone=NO_REPAIR
    )
    rows = {row.id: row for row in found if _left(row, seen.by_id[row.id])}
    lines = [line for line in seen.lines if line.id in rows]
    visits = _visits(seen, lines)
    return tuple(_followed(line, rows, visits=visits, seen=seen) for line in lines)


def _left(row: LeftLine, line: ClosedLine) -> bool:
    choice = Choice(end=line.end, cause=line.cause, fix=row.fix, options=row.options)
    # What was chosen may be written down without its kind; a work-around ends all the same.
    return is_left_undone(choice) or _is_workaround(row, line)


def _followed(
    line: ClosedLine,
    rows: Mapping[str, LeftLine],
    *,
    visits: Mapping[str, tuple[Visit, ...]],
    seen: Seen,
) -> LeftUndone:
    later = visits.get(line.id, ())
    same = [visit for visit in later if visit.closed and visit.cause == line.cause]
    done = any(visit.end in REPAIRED and visit.job not in rows for visit in same)
    again = any(visit.job in rows for visit in same)
    wrong = line.overturned_by in seen.by_id
    return LeftUndone(
        line=line, left=rows[line.id], visits=later, done=done, settled=done or again or wrong
    )


def _visits(seen: Seen, lines: Sequence[ClosedLine]) -> Mapping[str, tuple[Visit, ...]]:
    """Return the later visits of the cars of ``lines`` by job: by VIN or as comebacks."""
    cars = {line.id: (seen.vehicles[line.id], line.id) for line in lines}
    by_car: dict[str, dict[str, Visit]] = {key: {} for keys in cars.values() for key in keys}
    for names, visit in _all_visits(seen, by_car.keys()):
        for name in names:
            if name in by_car:
                by_car[name][visit.job] = visit
    found = {}
    for line in lines:
        near = {job: visit for key in cars[line.id] for job, visit in by_car[key].items()}
        # What was opened on the very day is the same stay, unless it says that it is a comeback.
        since = [
            visit
            for visit in near.values()
            if visit.job != line.id and (visit.opened > line.closed or visit.comeback_of == line.id)
        ]
        found[line.id] = tuple(sorted(since, key=lambda visit: (visit.opened, visit.job)))
    return found


def _all_visits(
    seen: Seen, wanted: KeysView[str]
) -> Iterator[tuple[tuple[str, str | None], Visit]]:
    """Yield jobs of the ``wanted`` cars with what names their car: its key, or an earlier job."""
    first = seen.week.shifted(1 - BEFORE).monday
    for line in seen.lines:
        names = (seen.vehicles[line.id], line.comeback_of)
        if line.closed >= first and not wanted.isdisjoint(names):
            yield names, _closed_visit(line)
    for row in seen.unit.week_records.open_lines(seen.week.sunday):
        before = row.comeback_of
        key = row.vin or (seen.vehicles.get(before, before) if before else row.id)
        yield (key, before), _open_visit(row)


def _closed_visit(row: ClosedLine) -> Visit:
    return Visit(
        job=row.id,
        opened=row.opened,
        closed=row.closed,
        cause=row.cause,
        end=row.end,
        comeback_of=row.comeback_of,
    )


def _open_visit(row: OpenLine) -> Visit:
    # What it was closed with later was not known then.
    return Visit(
        job=row.id,
        opened=row.opened,
        closed=None,
        cause=None,
        end=None,
        comeback_of=row.comeback_of,
    )
