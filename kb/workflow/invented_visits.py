"""Why an invented car comes: ordinary visits of a week, and those of the planted patterns."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from random import Random

from kb.case.iso_week import IsoWeek
from kb.case.model import Job, Tried, Vehicle
from kb.case.parts import FittedPart
from kb.workflow.invented_plan import Plan, Platform, Table
from kb.workflow.invented_rates import Rates, poisson


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A car on its way to the shop, and what is really wrong with it.

    Attributes
    ----------
    opened : date
        When it comes.
    cause : str
        What is wrong, whether or not the shop finds it.
    platform : Platform or None
        Its model, None where ``vehicle`` is known.
    vehicle : Vehicle or None
        A car that was there before.
    first : Job or None
        The job that it comes back from.
    sure : bool
        True where cause and proof are written down for sure, and the repair is done.
    fitted : FittedPart or None
        The part that is fitted, where it is not left to luck.
    tried : Tried or None
        A part that was replaced in vain.
    stays : bool
        True where the job is still open at the end.
    again : bool
        False where the repair holds for sure.
    likeness : int or None
        Which of the jobs alike this one is.
    """

    opened: date
    cause: str
    platform: Platform | None = None
    vehicle: Vehicle | None = None
    first: Job | None = None
    sure: bool = False
    fitted: FittedPart | None = None
    tried: Tried | None = None
    stays: bool = False
    again: bool = True
    likeness: int | None = None


def workday(rng: Random, week: IsoWeek) -> date:
    """Return a day from Monday to Friday."""
    return week.monday + timedelta(days=rng.randrange(5))


def ordinary(
    rng: Random, rates: Rates, *, week: IsoWeek, per_week: float, known: Sequence[Job], part: float
) -> Iterator[Visit]:
    """Yield the visits of a week in which nothing is planted.

    ``part`` of them are cars of ``known``, earlier jobs.
    """
    jobs = poisson(rng, per_week * rates.open_days(week))
    for cause in rates.causes(rng, week=week, jobs=jobs):
        visit = Visit(opened=workday(rng, week), cause=cause, platform=rates.platform(rng, cause))
        car = rng.choice(known).vehicle if known and rng.random() < part else None
        if car is not None and rates.suits(cause, car.engine or ""):
            visit = replace(visit, vehicle=car, platform=None)
        yield visit


class Planted:
    """The patterns that the week has to find, and the traps; weeks count back from the last.

    Parameters
    ----------
    plan : Plan
        Says what is planted when.
    rates : Rates
        Gives the vehicles and the holidays.
    seed : int
        Makes each pattern by itself, whatever else is made.
    """

    def __init__(self, plan: Plan, rates: Rates, seed: int) -> None:
        self._plan = plan
        self._rates = rates
        self._seed = seed

    def _rng(self, name: str, at: object) -> Random:
        return Random(f"{self._seed} {name} {at}")  # noqa: S311 - invented jobs, no secret

    def of(self, back: int, week: IsoWeek) -> Iterator[Visit]:
        """Yield the planted visits of the week that lies ``back`` before the last."""
        yield from self._rising(back, week)
        yield from self._money(back, week)
        yield from self._alike(back, week)
        yield from self._fleet(back, week)
        yield from self._open(back, week)

    def _rising(self, back: int, week: IsoWeek) -> Iterator[Visit]:
        row, rng = self._plan.tables["rising"], self._rng("rising", back)
        rate = row["after"] if back < row["week"] else row["before"]
        for _ in range(poisson(rng, rate * self._rates.open_days(week))):
            yield Visit(
                opened=workday(rng, week),
                cause=row["cause"],
                platform=self._plan.platform(row),
                sure=True,
            )

    def _money(self, back: int, week: IsoWeek) -> Iterator[Visit]:
        row, rng = self._plan.tables["money"], self._rng("money", back)
        if back in row["weeks"]:
            yield Visit(
                opened=workday(rng, week),
                cause=row["cause"],
                platform=self._rates.platform(rng, row["cause"]),
                sure=True,
                tried=Tried(
                    part=row["part"],
                    text=rng.choice(self._plan.tables["words"]["tried"]),
                    cost_cents=100 * rng.randint(*row["cost"]),
                ),
            )

    def _alike(self, back: int, week: IsoWeek) -> Iterator[Visit]:
        row, rng = self._plan.tables["cluster"], self._rng("cluster", back)
        for at, when in enumerate(row["weeks"]):
            if when == back:
                yield Visit(
                    opened=week.monday + timedelta(days=rng.randrange(3)),
                    cause=row["causes"][at],
                    platform=self._plan.platform(row["vehicle"]),
                    likeness=at,
                )

    def _fleet(self, back: int, week: IsoWeek) -> Iterator[Visit]:
        row: Table = self._plan.tables["fleet"]
        if back == row["week"]:
            for at in range(row["vans"]):
                yield Visit(
                    opened=week.monday + timedelta(days=1 + at % 2),
                    cause=row["cause"],
                    platform=self._plan.platform(row),
                    sure=True,
                    again=False,
                )

    def _open(self, back: int, week: IsoWeek) -> Iterator[Visit]:
        rng = self._rng("open", back)
        if back in self._plan.tables["open"]["weeks"]:
            (cause,) = self._rates.causes(rng, week=week, jobs=1)
            platform = self._rates.platform(rng, cause)
            yield Visit(opened=workday(rng, week), cause=cause, platform=platform, stays=True)

    def lot(self, back: int, visit: Visit) -> Visit:
        """Return an ordinary visit, with a part of the bad lot where it gets one."""
        row = self._plan.tables["lot"]
        first, last = row["weeks"]
        rng = self._rng("lot", visit)
        if visit.cause != row["cause"] or not last <= back <= first or rng.random() >= row["share"]:
            return visit
        part = FittedPart(part="", supplier=row["supplier"], lot=row["lot"])
        return replace(visit, fitted=part)
