"""What a review looks at: the closed jobs of three years as lines, the newest ones whole."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cache, cached_property
from typing import Final

from kb.case.iso_week import IsoWeek
from kb.case.meant_now import as_meant_now
from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.store.answers import ShownAnswer
from kb.store.unit_of_work import UnitOfWork
from kb.store.week_rows import ClosedLine, Comeback
from kb.workflow.week.shown import answer_now

# Weeks that count as recent, weeks before them that they are held against, and weeks looked back
# at most, which the season of three years needs. Sources: see ``kb.diagnosis.trends``.
RECENT: Final = 8
BEFORE: Final = 52
LOOKED_BACK: Final = 160

Platform = tuple[str, str, str]
# Its week, the number of its arrival, what names its car, and the line.
Placed = tuple[int, int, str, ClosedLine]


@cache
def plain(platform: Platform) -> Platform:
    """Return make, model and engine by which models are told apart: case does not count."""
    make, model, engine = (word.strip().casefold() for word in platform)
    return make, model, engine


@dataclass(frozen=True)
class Seen:
    """All that is looked at, as it stood at the end of ``week``; read once, when first asked for.

    Attributes
    ----------
    unit : UnitOfWork
        Reads the store; for rows that need more than is here.
    week : IsoWeek
        The week under review.
    words : Vocabulary
        The trade's words with the shop's own.
    altitude_m : float
        Of the shop.
    """

    unit: UnitOfWork
    week: IsoWeek
    words: Vocabulary
    altitude_m: float = 0.0

    @cached_property
    def lines(self) -> tuple[ClosedLine, ...]:
        """The closed jobs of the weeks looked back at, oldest first, each cause as meant now."""
        first = self.week.shifted(1 - LOOKED_BACK).monday
        rows = self.unit.weeks.lines(first, self.week.sunday)
        shop, known = self.words.shop, self.words.known_causes
        made = []
        for row in rows:
            cause = row.cause and shop.now("cause", row.cause)
            term = known.get(cause or "")
            system = row.system or (term.system if term else None)
            same = cause == row.cause and system == row.system
            made.append(row if same else replace(row, cause=cause, system=system))
        return tuple(made)

    @cached_property
    def recent_lines(self) -> tuple[ClosedLine, ...]:
        """Those closed in the recent weeks."""
        first = self.first_recent.monday
        return tuple(row for row in self.lines if row.closed >= first)

    @cached_property
    def jobs(self) -> tuple[Job, ...]:
        """The whole jobs closed in the recent weeks, with terms as meant now."""
        found = self.unit.weeks.closed(self.first_recent.monday, self.week.sunday)
        return tuple(as_meant_now(job, self.words) for job in found)

    @cached_property
    def week_jobs(self) -> tuple[Job, ...]:
        """The whole jobs closed in the week itself."""
        first = self.week.monday
        return tuple(job for job in self.jobs if job.closing and job.closing.closed >= first)

    @cached_property
    def shown(self) -> Mapping[str, ShownAnswer]:
        """What was said before the closes of the last 52 weeks, by job, oldest first, as meant now.

        Only of jobs whose answers were kept.
        """
        first = self.week.shifted(1 - BEFORE).monday
        kept = self.unit.answers.closed(first, self.week.sunday)
        shop = self.words.shop
        return {key: answer_now(row, shop) for key, row in kept.items()} if shop.merged else kept

    @cached_property
    def comebacks(self) -> tuple[Comeback, ...]:
        """The comebacks by the end of the week, open ones too, each cause as meant now."""
        shop = self.words.shop
        found = self.unit.weeks.comebacks(self.week.sunday)
        return tuple(
            replace(row, cause=row.cause and shop.now("cause", row.cause)) for row in found
        )

    @cached_property
    def by_id(self) -> Mapping[str, ClosedLine]:
        """The lines by job."""
        return {row.id: row for row in self.lines}

    @cached_property
    def vehicles(self) -> Mapping[str, str]:
        """What names the car of each line: its VIN, else the first job of its chain of comebacks.

        A car without a VIN that never came back counts as a car of its own.
        """
        return {row.id: self._vehicle(row) for row in self.lines}

    @cached_property
    def placed(self) -> tuple[Placed, ...]:
        """The lines with their weeks and their arrivals, oldest first.

        An arrival is one day on which cars of one make, model and engine came in, whatever their
        letters' case; a car of unknown model arrives by itself.
        """
        numbers: dict[tuple[date, object], int] = {}
        rows = []
        for row in self.lines:
            car = self.vehicles[row.id]
            mark = (row.opened, plain(row.platform) if row.model else car)
            arrival = numbers.setdefault(mark, len(numbers))
            rows.append((self.at(row), arrival, car, row))
        return tuple(rows)

    def _vehicle(self, row: ClosedLine) -> str:
        seen = {row.id}
        while row.vin is None and row.comeback_of and row.comeback_of not in seen:
            seen.add(row.comeback_of)
            if row.comeback_of not in self.by_id:
                return row.comeback_of
            row = self.by_id[row.comeback_of]
        return row.vin or row.id

    @property
    def first_recent(self) -> IsoWeek:
        """The oldest of the recent weeks."""
        return self.week.shifted(1 - RECENT)

    @cached_property
    def first_week(self) -> IsoWeek | None:
        """The week of the oldest line, None where there is none; before it nothing is known."""
        return IsoWeek.of(self.lines[0].closed) if self.lines else None

    @cached_property
    def _first_day(self) -> int:
        assert self.first_week is not None
        return self.first_week.monday.toordinal()

    def at(self, row: ClosedLine) -> int:
        """Return the place of a line's week, the oldest known week being 0."""
        return (row.closed.toordinal() - self._first_day) // 7

    @cached_property
    def length(self) -> int:
        """How many weeks are known, up to the one under review."""
        return self.week.since(self.first_week) + 1 if self.first_week else 0
