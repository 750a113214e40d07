"""How long the week takes in a shop of ten years and 50,000 closed jobs, and how often it errs.

Run: ``python -m tests.benchmarks.bench_week [--years 10] [--per-week 96] [--alarms 0]``. The jobs
are those of the demonstration, made for more years and more a week. The page is asked for by
Flask's own test client, signed in as the owner, so the figures leave out network and browser.

The peers run in the same process on the same database: a plain count by cause and week in SQL, and
reading the whole jobs of the same eight weeks. What is printed is also given as a multiple of the
first. With ``--alarms N`` two years are made with each of N other seeds, and the rows of a rising
kind that are not planted are counted over the last 50 weeks of each.
"""

import argparse
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Final, Self

from sqlalchemy import text

from kb.case.iso_week import IsoWeek
from kb.case.terms import load_vocabulary
from kb.store.engine import Store, default_url, open_store
from kb.store.migrate import bundled, upgrade
from kb.workflow import review
from kb.workflow.invented import SEED, add_jobs, make_jobs
from kb.workflow.invented_plan import read_plan
from kb.workflow.week.rows import Level
from kb.workflow.week.seen import Seen
from tests.kb.store.other_process import NOW
from tests.web.conftest import QUICK, Browser, session_for
from web import create_app
from web.rights import Role

WORDS: Final = load_vocabulary()
ROUNDS: Final = 5
# Seconds after which what was asked for is counted behind the pages.
_COUNTED_BY: Final = 10
RISING: Final = {"rising_cause", "rising_pair", "rising_complaint"}
BY_CAUSE_AND_WEEK: Final = text(
    "SELECT cause, (julianday(closed) - 0.5) / 7, count(*) FROM closings "
    "GROUP BY cause, CAST((julianday(closed) - 0.5) / 7 AS INTEGER)"
)


@contextmanager
def shop(*, years: float, per_week: float, seed: int = SEED) -> Iterator[tuple[Path, Store]]:
    """Yield the folder and the store of an invented shop."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        upgrade(default_url(home))
        with open_store(default_url(home)) as store:
            start = time.perf_counter()
            jobs = make_jobs(
                date.today(),  # noqa: DTZ011 - the pages ask for the machine's own date
                WORDS,
                folder=bundled("seed_cases"),
                years=years,
                per_week=per_week,
                seed=seed,
            )
            with store.write("Ines", NOW) as unit:
                add_jobs(unit, jobs)
            with store.read() as unit:
                number = unit.jobs.count()
            print(f"{number} jobs made and stored in {time.perf_counter() - start:.1f} s")
            yield home, store


def last_week() -> IsoWeek:
    """Return the newest week that is over."""
    return IsoWeek.last_whole(date.today())  # noqa: DTZ011 - as above


@dataclass(frozen=True, slots=True)
class Took:
    """Milliseconds by the wall and of this program; the second says more on a shared machine."""

    wall: float
    own: float

    @classmethod
    def of(cls, work: Callable[[], object]) -> Self:
        """Return how long a piece of work takes."""
        start, used = time.perf_counter(), time.process_time()
        work()
        wall, own = time.perf_counter() - start, time.process_time() - used
        return cls(1000 * wall, 1000 * own)


def best(work: Callable[[], object]) -> Took:
    """Return the least of some rounds, each figure for itself."""
    rounds = [Took.of(work) for _ in range(ROUNDS)]
    return Took(min(row.wall for row in rounds), min(row.own for row in rounds))


def count(store: Store) -> dict[str, Took]:
    """Return how long what all topics share takes, each topic, and all of them anew."""
    spent = {}
    with store.read() as unit, review._no_collection():
        seen = Seen(unit=unit, week=last_week(), words=WORDS)
        for name in ("lines", "jobs"):
            spent[f"shared: {name}"] = Took.of(partial(getattr, seen, name))
        for topic in review.TOPICS:
            spent[topic.__name__] = Took.of(lambda topic=topic: list(topic(seen)))  # type: ignore[misc]

        def whole() -> object:
            return review.count_week(Seen(unit=unit, week=last_week(), words=WORDS))

        return spent | {"week, all topics": best(whole)}


def peers(store: Store) -> dict[str, Took]:
    """Return how long a plain count by cause and week takes, and reading eight weeks of jobs."""
    week = last_week()
    with store.read() as unit:
        plain = best(lambda: unit.connection.execute(BY_CAUSE_AND_WEEK).all())
        whole = best(lambda: unit.weeks.closed(week.shifted(-7).monday, week.sunday))
    return {"peer: SQL count by cause and week": plain, "peer: whole jobs of 8 weeks": whole}


def pages(home: Path, store: Store) -> dict[str, Took]:
    """Return how long the page takes before its week is counted, behind it, and after that."""
    app = create_app({"HOME": home, "STORE_URL": default_url(home), "HASHER": QUICK})
    browser = Browser(app, session_for(store, Role.OWNER))

    def open_page(back: int) -> None:
        answer = browser.client.get(f"/week?week={last_week().shifted(-back)}")
        if answer.status_code != 200:
            raise SystemExit(f"expected the page of the week, got {answer.status_code}")

    # The first page of a process compiles its templates.
    first = Took.of(partial(open_page, ROUNDS))
    backs = iter(range(ROUNDS))
    counting = best(lambda: open_page(next(backs)))
    time.sleep(_COUNTED_BY)
    known = best(partial(open_page, 0))
    app.extensions["baybook"].store.close()
    return {
        "page, first of a process": first,
        "page, not counted yet": counting,
        "page, counted": known,
    }


def alarms(seeds: int, *, weeks: int = 50) -> None:
    """Print how many rows of a rising kind come in weeks of shops that differ only by luck."""
    planted = read_plan(bundled("seed_cases"), WORDS).tables
    true = {planted[name]["cause"] for name in ("rising", "lot")} | {planted["cluster"]["symptom"]}
    rising = [topic for topic in review.TOPICS if topic.__name__.startswith("rising")]
    for seed in range(SEED + 1, SEED + 1 + seeds):
        with shop(years=2, per_week=45, seed=seed) as (_, store), store.read() as unit:
            found: Counter[str] = Counter()
            for back in range(weeks):
                seen = Seen(unit=unit, week=last_week().shifted(-back), words=WORDS)
                for row in (row for topic in rising for row in topic(seen)):
                    odd = row.kind in RISING and row.subject[0] not in true
                    if odd and row.level is not Level.KNOW:
                        found[f"{row.kind} {row.level}"] += 1
        print(f"seed {seed}, {weeks} weeks: {dict(sorted(found.items()))}")


def main() -> None:
    """Print milliseconds, and each as a multiple of the plain count."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--years", type=float, default=10)
    parser.add_argument("--per-week", type=float, default=96)
    parser.add_argument("--alarms", type=int, default=0, help="other seeds to count alarms with")
    args = parser.parse_args()
    if args.alarms:
        alarms(args.alarms)
        return
    with shop(years=args.years, per_week=args.per_week) as (home, store):
        plain = peers(store)
        spent = plain | count(store) | pages(home, store)
    peer = next(iter(plain.values())).own
    print(f"{'':36} {'ms, wall':>9} {'ms, own':>9}   of the first")
    for name, took in spent.items():
        print(f"{name:36} {took.wall:9.0f} {took.own:9.0f} {took.own / peer:8.1f} x")


if __name__ == "__main__":
    main()
