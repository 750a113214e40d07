"""The weekly review: counted once a week, by one process, and kept."""

import gc
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from hashlib import blake2s
from typing import Any, Final

from kb.case.iso_week import OLDEST, IsoWeek
from kb.store.engine import Store
from kb.store.reviews import KeptReview
from kb.workflow.memory import Memory
from kb.workflow.week.answers import answers
from kb.workflow.week.checks import checks
from kb.workflow.week.comebacks import comebacks
from kb.workflow.week.kept import kept_text, read_kept
from kb.workflow.week.likeness import likeness
from kb.workflow.week.matters import Matter, matters
from kb.workflow.week.money import money
from kb.workflow.week.open_work import open_work
from kb.workflow.week.pace import pace
from kb.workflow.week.records import records
from kb.workflow.week.rising import rising
from kb.workflow.week.rising_complaints import rising_complaints
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seasons import seasons
from kb.workflow.week.seen import Seen

# Rows that stand first, for a decision (the foreman's quarter of an hour; our choice).
FIRST: Final = 3
# Kept reviews that a process holds read: Today, the week and its forms ask for the same few.
_HELD_READ: Final = 8

# Each module of the week, asked in this order.
Topic = Callable[[Seen], Iterable[WeekRow]]
TOPICS: tuple[Topic, ...] = (
    rising,
    rising_complaints,
    seasons,
    comebacks,
    pace,
    money,
    open_work,
    records,
    checks,
    answers,
    likeness,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """One counted week; ``rows`` stand most pressing first, ``jobs`` were closed in it.

    ``mark`` is another where anything else was counted; empty where the review is not kept.
    """

    week: IsoWeek
    made_at: datetime
    jobs: int
    cases: int
    rows: tuple[WeekRow, ...]
    mark: str = ""

    @property
    def first(self) -> tuple[WeekRow, ...]:
        """The rows worth a decision, each of another matter; none where nothing is firm."""
        return tuple(matter.lead for matter in self.first_matters)

    @property
    def first_matters(self) -> tuple[Matter, ...]:
        """What is worth a decision, at most three matters, each with the rows about it."""
        pressing = (row for row in self.rows if row.level is not Level.KNOW)
        return matters(pressing, most=FIRST)

    @property
    def rest(self) -> tuple[WeekRow, ...]:
        """All other rows."""
        first = {row.key for row in self.first}
        return tuple(row for row in self.rows if row.key not in first)

    def row(self, key: str) -> WeekRow | None:
        """Return the row of that key, None where the week has none."""
        return next((row for row in self.rows if row.key == key), None)


def count_week(seen: Seen) -> dict[str, Any]:
    """Return the review of a week as values that JSON keeps."""
    rows = sorted((row for topic in TOPICS for row in topic(seen)), key=lambda row: row.place)
    return {
        "week": str(seen.week),
        "jobs": len(seen.week_jobs),
        "cases": sum(job.is_case for job in seen.week_jobs),
        "rows": [row.as_json() for row in rows],
    }


def kept_review(store: Store, week: IsoWeek) -> Review | None:
    """Return the review of a week as it was counted; None where it is not, or of another form."""
    with store.read() as unit:
        kept = unit.reviews.get(str(week))
    return _review(week, kept) if kept else None


def whole_review(store: Store, week: IsoWeek, now: datetime) -> Review | None:
    """Return the review of a week where it was counted and need not be counted again by itself."""
    known = kept_review(store, week)
    return known if known is not None and _is_whole(known, now) else None


@lru_cache(maxsize=_HELD_READ)
def _review(week: IsoWeek, kept: KeptReview) -> Review | None:
    body = read_kept(kept.body)
    if body is None:
        return None
    rows = tuple(WeekRow.from_json(row) for row in body["rows"])
    return Review(
        week=week,
        made_at=kept.made_at,
        jobs=body["jobs"],
        cases=body["cases"],
        rows=rows,
        mark=blake2s(kept.body.encode(), digest_size=16).hexdigest(),
    )


def review_week(
    memory: Memory, week: IsoWeek, *, who: str, now: datetime, anew: bool = False
) -> Review | None:
    """Return the review of a week, counted by whoever asks first; None while another counts it.

    Parameters
    ----------
    memory : Memory
        Gives store, words and altitude.
    week : IsoWeek
        A week that is over, or the running one: then what is known of it.
    who : str
        Stands in the claim.
    now : datetime
        With a zone.
    anew : bool
        Counts again what is counted already; what was counted while the week ran is counted again
        by itself on any later day.

    Notes
    -----
    Where counting fails, the week is free again for whoever asks next.
    """
    known = whole_review(memory.store, week, now)
    if known is not None and not anew:
        return known
    with memory.store.write(who, now) as unit:
        # Another may have finished it since; one that cannot be read (an older form) is counted.
        kept = unit.reviews.get(str(week))
        meanwhile = _review(week, kept) if kept else None
        is_known = meanwhile is not None and _is_whole(meanwhile, now)
        claim = unit.reviews.claim(str(week), anew=True) if anew or not is_known else None
    if claim is None:
        return meanwhile
    body = None
    try:
        body = _counted(memory, week)
    finally:
        with memory.store.write(who, now) as unit:
            if body is None:
                unit.reviews.release(str(week), claim)
            else:
                unit.reviews.keep(str(week), claim, body)
    return kept_review(memory.store, week)


def _is_whole(review: Review, now: datetime) -> bool:
    """Return whether a review holds all of its week so far; of a running week, all up to a day.

    One of a day to come was counted while the clock was ahead, perhaps before its week was over.
    """
    made, today = (at.astimezone().date() for at in (review.made_at, now))
    return made == today or review.week.sunday < made < today


def _counted(memory: Memory, week: IsoWeek) -> str:
    words = memory.words
    with memory.store.read() as unit, _no_collection():
        seen = Seen(unit=unit, week=week, words=words, altitude_m=memory.altitude_m)
        return kept_text(count_week(seen))


@contextmanager
def _no_collection() -> Iterator[None]:
    """Look for no cyclic garbage meanwhile: all that is read is kept until the week is counted.

    A quarter of the time at 50,000 jobs. Who finds it switched off leaves it so: another thread
    counts, and switches it on again.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def first_week(store: Store, *, asked: IsoWeek | None = None) -> IsoWeek | None:
    """Return the week in which the first job came in, at the oldest 1900; None before there is one.

    Where a job came in before the week ``asked``, the week before that one stands for the first:
    that something lies before it is found without reading the day of every job.
    """
    with store.read() as unit:
        if asked and asked.monday > OLDEST and unit.weeks.any_opened_before(asked.monday):
            return asked.shifted(-1)
        day = unit.weeks.first_opened()
    return IsoWeek.of(max(day, OLDEST)) if day else None
