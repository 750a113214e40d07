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
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any, Final

from sqlalchemy import text

from kb.case.iso_week import IsoWeek
from kb.case.terms import load_vocabulary
from kb.store.engine import Store, default_url, open_store
from kb.store.migrate import bundled, upgrade
from kb.workflow.invented import SEED, add_jobs, make_jobs
from kb.workflow.invented_plan import read_plan
from kb.workflow.review import TOPICS
from kb.workflow.week.rows import Level
from kb.workflow.week.seen import Seen
from tests.kb.store.other_process import NOW
from tests.web.conftest import QUICK, Browser, session_for
from web import create_app
from web.rights import Role

WORDS: Final = load_vocabulary()
ROUNDS: Final = 5
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


def best(work: Any, *, rounds: int = ROUNDS) -> float:
    """Return the least seconds of some rounds: what the work itself takes on a shared machine."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def count(store: Store) -> dict[str, float]:
    """Return the seconds of what all topics share and of each topic, once each."""
    spent: dict[str, float] = {}
    with store.read() as unit:
        seen = Seen(unit=unit, week=last_week(), words=WORDS)
        for name in ("lines", "jobs"):
            start = time.perf_counter()
            getattr(seen, name)
            spent[f"shared: {name}"] = time.perf_counter() - start
        for topic in TOPICS:
            start = time.perf_counter()
            list(topic(seen))
            spent[topic.__name__] = time.perf_counter() - start
    return spent


def peers(store: Store) -> dict[str, float]:
    """Return the seconds of a plain count by cause and week, and of reading eight weeks of jobs."""
    week = last_week()
    with store.read() as unit:
        plain = best(lambda: unit.connection.execute(BY_CAUSE_AND_WEEK).all())
        whole = best(lambda: unit.weeks.closed(week.shifted(-7).monday, week.sunday))
    return {"peer: SQL count by cause and week": plain, "peer: whole jobs of 8 weeks": whole}


def pages(home: Path, store: Store) -> dict[str, float]:
    """Return the seconds of the page when it counts first, and when the week is counted."""
    app = create_app({"HOME": home, "STORE_URL": default_url(home), "HASHER": QUICK})
    browser = Browser(app, session_for(store, Role.OWNER))

    def open_page(back: int) -> None:
        answer = browser.client.get(f"/week?week={last_week().shifted(-back)}")
        if answer.status_code != 200:
            raise SystemExit(f"expected the page of the week, got {answer.status_code}")

    # The first page of a process compiles templates and fits the memory: not what is measured.
    start = time.perf_counter()
    open_page(9)
    cold = time.perf_counter() - start
    backs = iter(range(ROUNDS))
    counting = best(lambda: open_page(next(backs)))
    known = best(lambda: open_page(0))
    app.extensions["baybook"].store.close()
    return {
        "page, first of a process": cold,
        "page, counts first": counting,
        "page, counted": known,
    }


def alarms(seeds: int, *, weeks: int = 50) -> None:
    """Print how many rows of a rising kind come in weeks of shops that differ only by luck."""
    planted = read_plan(bundled("seed_cases"), WORDS).tables
    true = {planted["rising"]["cause"], planted["cluster"]["symptom"]}
    rising = [topic for topic in TOPICS if topic.__name__.startswith("rising")]
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
    """Print seconds, and each as a multiple of the plain count."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--years", type=float, default=10)
    parser.add_argument("--per-week", type=float, default=96)
    parser.add_argument("--alarms", type=int, default=0, help="other seeds to count alarms with")
    args = parser.parse_args()
    if args.alarms:
        alarms(args.alarms)
        return
    with shop(years=args.years, per_week=args.per_week) as (home, store):
        spent = peers(store)
        unit_of_all = spent["peer: SQL count by cause and week"]
        counted = count(store)
        spent |= counted | {"week, all topics": sum(counted.values())} | pages(home, store)
    for name, seconds in spent.items():
        print(f"{name:36} {1000 * seconds:9.0f} ms {seconds / unit_of_all:8.1f} x")


if __name__ == "__main__":
    main()
