"""Two years of invented jobs for the demonstration, always the same for one seed and week."""

import heapq
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from random import Random
from typing import Final

from kb.case.iso_week import IsoWeek
from kb.case.model import Closing, Job, JobState, Phase, ReadingSet
from kb.case.terms import Vocabulary
from kb.store.journal import PastLine
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.invented_closing import Ending
from kb.workflow.invented_opening import Opening
from kb.workflow.invented_plan import Plan, Technician, read_plan
from kb.workflow.invented_rates import USUAL, Rates
from kb.workflow.invented_visits import Planted, Visit, ordinary

# Weeks of a year, the seed of the demonstration, days after which a repair counts as held: the
# holding period of 90 days and the two weeks that the page leaves for looking (our choice).
WEEKS_A_YEAR: Final = 52
SEED: Final = 34
_HELD_AFTER: Final = 104
# Days from which a job of the last days is not closed yet, and how often such a one waits for
# something (our choice).
_LONG: Final = 3
_WAITS: Final = 0.7
# Days before and after the one that a work-around was meant to last to (our choice).
_AROUND_THE_DAY: Final = (-20, 6)
# When the history says that an invented job was closed (our choice).
_CLOSED_AT: Final = time(16, 30, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """A job and who worked on it; ``technician`` closed it, where it is closed."""

    job: Job
    desk: str
    technician: str


def make_jobs(
    today: date,
    words: Vocabulary,
    *,
    folder: Path,
    years: float = 2,
    per_week: float = USUAL,
    seed: int = SEED,
) -> Iterator[Worked]:
    """Yield invented jobs that end with the last whole week before ``today``, oldest first.

    Parameters
    ----------
    today : date
        The shop's date.
    words : Vocabulary
        The trade's words.
    folder : Path
        Where the file of ``kb.workflow.invented_plan`` lies.
    years : float
        Years back, of 52 weeks.
    per_week : float
        Jobs of a week without holidays, before what is planted and what comes back.
    seed : int
        The same seed and week of ``today`` give the same jobs.

    Raises
    ------
    VocabularyError
        If the file is not sound.
    """
    made = _Maker(read_plan(folder, words), words, last=IsoWeek.last_whole(today), seed=seed)
    for back in range(round(WEEKS_A_YEAR * years) - 1, -1, -1):
        made.work(back, per_week)
    yield from made.finished()


def add_jobs(unit: UnitOfWork, jobs: Iterable[Worked]) -> None:
    """Store invented jobs, each with one line of history by who closed it or wrote it up."""
    unit.jobs.add_past((row.job, _line(row)) for row in jobs)


def _line(row: Worked) -> PastLine:
    closing = row.job.closing
    day = closing.closed if closing else row.job.opened
    return PastLine(
        at=datetime.combine(day, _CLOSED_AT),
        who=row.technician if closing else row.desk,
        verb="close" if closing else "open",
        what=f"{closing.end}: {closing.cause or 'no cause'}" if closing else row.job.complaint.said,
    )


def _before(job: Job) -> tuple[ReadingSet, ...]:
    return tuple(row for row in job.reading_sets if row.phase is Phase.BEFORE)


class _Maker:
    """Works one week after the other, and remembers which cars come back."""

    def __init__(self, plan: Plan, words: Vocabulary, *, last: IsoWeek, seed: int) -> None:
        self._plan = plan
        self._last = last
        self._seed = seed
        self._course = plan.tables["course"]
        self._rates = Rates(plan, words)
        self._planted = Planted(plan, self._rates, seed)
        self._opening, self._ending = Opening(plan, words), Ending(plan, words)
        self._jobs: list[Job] = []
        self._technicians: list[str] = []
        self._place: dict[str, int] = {}
        # Visits to come: (day, number of the job they come back from, visit).
        self._due: list[tuple[date, int, Visit]] = []

    def work(self, back: int, per_week: float) -> None:
        """Make the jobs of the week that lies ``back`` before the last."""
        week = self._last.shifted(-back)
        rng = Random(f"{self._seed} week {back}")  # noqa: S311 - invented jobs, no secret
        part = self._plan.tables["volume"]["known_car"]
        usual = ordinary(
            rng, self._rates, week=week, per_week=per_week, known=self._jobs, part=part
        )
        visits = [self._planted.lot(back, visit) for visit in usual]
        visits += self._planted.of(back, week)
        while self._due and self._due[0][0] <= week.sunday:
            visits.append(heapq.heappop(self._due)[2])
        for visit in sorted(visits, key=lambda row: row.opened):
            self._visit(rng, visit, back)

    def _visit(self, rng: Random, visit: Visit, back: int) -> None:
        there = [row for row in self._plan.technicians if row.works(back)]
        technician = rng.choices(there, [row.share for row in there])[0]
        number = len(self._jobs) + 1
        job = self._opening.job(rng, visit, job_id=f"V{number:06d}", more=technician.symptoms)
        job = self._closed(rng, job, visit=visit, technician=technician)
        self._place[job.id] = len(self._jobs)
        self._jobs.append(job)
        self._technicians.append(technician.name)
        self._overturn(job)
        self._comes_back(rng, job, visit)

    def _closed(self, rng: Random, job: Job, *, visit: Visit, technician: Technician) -> Job:
        # Jobs alike are closed at once, so that all of them are there in their weeks.
        days = 0 if visit.likeness is not None else rng.choice(self._course["days"])
        day = job.opened + timedelta(days=days)
        # The shop is shut on Sundays.
        day += timedelta(days=day.weekday() == 6)
        if day > self._last.sunday and days < _LONG:
            day = self._last.sunday - timedelta(days=1)
        if visit.stays or day > self._last.sunday:
            waits = rng.choice(self._course["waits_for"]) if rng.random() < _WAITS else None
            return replace(
                job,
                state=JobState.WAITING if waits else JobState.OPEN,
                waits_for=waits,
                findings=job.findings[:-1],
                reading_sets=_before(job),
            )
        recorded = visit.sure or visit.first is not None or rng.random() < technician.records
        if visit.likeness is not None:
            recorded = bool(visit.cause)
        if recorded:
            closing = self._ending.with_cause(rng, visit, day)
        else:
            closing = self._ending.without_cause(rng, day, unlike=visit.likeness is not None)
        return replace(
            job,
            state=JobState.CLOSED,
            closing=closing,
            # The check that would have proven it was not made.
            findings=job.findings if recorded else job.findings[:-1],
            reading_sets=job.reading_sets if closing.after_checks else _before(job),
        )

    def _overturn(self, job: Job) -> None:
        """Mark the first case of a comeback that had another cause."""
        if job.closing is None or job.closing.end != "comeback_other" or not job.comeback_of:
            return
        at = self._place[job.comeback_of]
        closing = self._jobs[at].closing
        assert closing is not None
        self._jobs[at] = replace(self._jobs[at], closing=replace(closing, overturned_by=job.id))

    def _comes_back(self, rng: Random, job: Job, visit: Visit) -> None:
        if job.closing is None or visit.likeness is not None or not visit.again:
            return
        lot = self._plan.tables["lot"]
        if visit.fitted is not None and job.cause and rng.random() < lot["fails"]:
            self._expect(rng, job, cause=visit.cause, days=rng.randint(*lot["days"]))
            return
        how = self._how(job.closing)
        if rng.random() >= self._course[how]:
            return
        other = how == "back" and rng.random() < self._course["back_other"]
        cause = self._another(rng, visit) if other else visit.cause
        mean, most = self._course["back_days"]
        days = 2 + round(min(rng.expovariate(1 / mean), most - 2))
        if job.closing.until is not None:
            lasts = (job.closing.until - job.closing.closed).days
            days = lasts + rng.randint(*_AROUND_THE_DAY)
        self._expect(rng, job, cause=cause, days=days)

    @staticmethod
    def _how(closing: Closing) -> str:
        """Return which share of the plan says how often a job of that end comes back."""
        if closing.cause is None:
            return "back_without"
        return {"declined": "back_declined", "workaround": "back_around"}.get(closing.end, "back")

    def _another(self, rng: Random, visit: Visit) -> str:
        """Return a cause that is taken for the one of a visit."""
        like = [key for key in self._opening.like(visit.cause) if key in self._rates.shares]
        return rng.choice(like) if like else visit.cause

    def _expect(self, rng: Random, job: Job, *, cause: str, days: int) -> None:
        assert job.closing is not None
        day = job.closing.closed + timedelta(days=days)
        day += timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)
        visit = Visit(opened=day, cause=cause, vehicle=job.vehicle, first=job)
        heapq.heappush(self._due, (day, len(self._jobs), visit))

    def finished(self) -> Iterator[Worked]:
        """Yield all jobs, those whose repair held for long enough marked so."""
        back = {job.comeback_of for job in self._jobs if job.comeback_of}
        latest = self._last.sunday - timedelta(days=_HELD_AFTER)
        for job, technician in zip(self._jobs, self._technicians, strict=True):
            closing = job.closing
            if closing and closing.closed <= latest and job.id not in back and closing.after_checks:
                job = replace(job, closing=replace(closing, held=True))  # noqa: PLW2901
            yield Worked(job=job, desk=self._plan.desk, technician=technician)
