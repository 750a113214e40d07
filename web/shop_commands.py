"""The commands about a whole shop: make it, show it, serve it, fill it."""

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from getpass import getuser
from pathlib import Path

import click

from kb.case.casefile import read_folder
from kb.case.iso_week import IsoWeek
from kb.case.terms import Vocabulary, load_vocabulary
from kb.retrieval.weigh import WORTH_LEARNING
from kb.store.engine import DATABASE, Store, default_url, open_store
from kb.store.migrate import bundled, upgrade
from kb.workflow.invented import Worked, add_jobs, make_jobs
from kb.workflow.invented_answers import ask_about_newest
from kb.workflow.jobs import Entry, Intake, open_job, read_vehicle
from kb.workflow.memory import Memory
from kb.workflow.trust import keep_trust, kept_trust, measure_trust, trust_state
from web.home import (
    altitude_m,
    home_folder,
    shop_memory,
    shop_store,
    today,
    writing,
)
from web.layout import say
from web.people_commands import demo_link
from web.report import answer_text
from web.serve_commands import serve_pages

# The job that the demonstration shows; invented.
DEMO_JOB = (
    "vents go warm in town, ok again on the freeway; no codes; low 56 hi 322 amb 92F vent 69F"
)
DEMO_VEHICLE = "2017 Pellarin Copse P20P"
_DEMO_SETTING = "demonstration"
# Years of invented jobs before the last whole week, for the weekly review (our choice).
DEMO_YEARS = 2.0


# --- the demonstration ---------------------------------------------------------------------------


def make_demo(home: Path, words: Vocabulary, *, years: float | None = None) -> Store:
    """Make the demonstration shop in ``home``, or open the one that is there.

    With 0 ``years`` it has no invented jobs for the weekly review; None is as many as it shows.
    """
    home.mkdir(parents=True, exist_ok=True)
    url = default_url(home)
    upgrade(url)
    store = open_store(url)
    with store.read() as unit:
        known = set(unit.jobs.ids())
    jobs, refused = read_folder(bundled("seed_cases"), words=words)
    for error in refused:
        say(f"left out: {error}", err=True)
    new = [job for job in jobs if job.id not in known]
    if new:
        with writing(store) as unit:
            unit.jobs.add_many(new, verb="import", what="demonstration case")
            add_jobs(unit, _invented(words, DEMO_YEARS if years is None else years))
            unit.settings.set(_DEMO_SETTING, "yes")
    return store


def _invented(words: Vocabulary, years: float) -> Iterator[Worked]:
    return make_jobs(today(), words, folder=bundled("seed_cases"), years=years)


def demo_job(store: Store, words: Vocabulary) -> Entry:
    """Open the job that the demonstration shows; a second time gives the same job."""
    intake = Intake(
        text=DEMO_JOB,
        said="It only gets cold once I am out on the freeway.",
        vehicle=read_vehicle(DEMO_VEHICLE),
        invoice="D-1",
    )
    with writing(store) as unit:
        return open_job(unit, intake, words=words, today=today())


def _is_demo(home: Path) -> bool:
    """Say whether ``home`` may hold the demonstration: it does, or no shop is there yet."""
    file = home / DATABASE
    if not file.exists():
        return True
    with open_store(default_url(home)) as store, store.read() as unit:
        return unit.settings.get(_DEMO_SETTING) is not None


@contextmanager
def _demo_folder(folder: Path | None) -> Iterator[Path]:
    """Yield the given folder, else BAYBOOK_HOME unless a real shop is there, else a scratch one."""
    given = folder or (Path(named) if (named := os.environ.get("BAYBOOK_HOME")) else None)
    if given is not None and (folder is not None or _is_demo(given)):
        yield given
        return
    with tempfile.TemporaryDirectory(prefix="baybook-") as scratch:
        yield Path(scratch)


@click.command()
@click.option("--once", is_flag=True, help="end after the showing")
@click.option("--folder", type=click.Path(file_okay=False, path_type=Path), help="keep it here")
@click.option("--port", default=8023, show_default=True, help="of this machine")
def demo(*, once: bool, folder: Path | None, port: int) -> None:
    """Make the demonstration shop, show one open job with its answers, then serve the pages."""
    words = load_vocabulary()
    with _demo_folder(folder) as home:
        with make_demo(home, words) as store:
            memory = Memory(store, words, altitude_m=altitude_m(), folder=home)
            ask_about_newest(memory, IsoWeek.last_whole(today()))
            entry = demo_job(store, words)
            suggestion = memory.suggest(entry.job)
            size = memory.size()
            with store.read() as unit:
                invented, since = unit.weeks.invented()
        say(f"Demonstration shop (all invented) in {home}, {size} closed jobs.")
        if since:
            say(f"For the weekly review {invented} more since {since}; no answer draws on them.")
        say(f"Open job {entry.job.id}, {DEMO_VEHICLE}:\n{DEMO_JOB}\n")
        say(answer_text(entry.parsed, suggestion, words))
        if not once:
            with open_store(default_url(home)) as store:
                token = demo_link(store)
            serve_pages({"HOME": home, "STORE_URL": default_url(home)}, port=port, token=token)


@click.command()
@click.option(
    "--if-due", is_flag=True, help="only take in the newest closed jobs, if they are many"
)
def rebuild(*, if_due: bool) -> None:
    """Learn anew from the closed jobs: their fields, spellings, the numbers of the chances."""
    if if_due:
        _refit()
        return
    with shop_store() as store:
        memory = shop_memory(store)
        started = time.monotonic()
        with _looking_through() as told:
            made = memory.rebuild(getuser(), datetime.now(UTC), report=told)
        size, seconds = memory.size(), time.monotonic() - started
    say(f"{size} closed jobs in {seconds:.1f} s")
    if made.fields:
        say(f"learned {made.fields} fields and the spellings of the closed jobs")
    else:
        say(f"nothing learned: expected at least {WORTH_LEARNING} closed jobs")
    for name, row in made.samples.items():
        if not row.is_all:
            say(f"{name}: from {row.taken} of {row.among} closed jobs, {row.how}")
    _measure_trust()


@contextmanager
def _looking_through() -> Iterator[Callable[[int, int], None]]:
    """Yield what shows on the terminal's second channel how many jobs are looked through."""
    with click.progressbar(length=1, label="looking through the jobs", file=sys.stderr) as bar:

        def told(done: int, total: int) -> None:
            bar.length = max(total, done, 1)
            bar.update(done - bar.pos)

        yield told


def _refit() -> None:
    """Fit the closed jobs anew where much is new since; what was learned of them stays."""
    with shop_store() as store:
        memory = shop_memory(store)
        done = memory.as_fitted() is not None and memory.refit()
    say("the newest closed jobs are taken in" if done else "nothing to do: few are new")


def _measure_trust() -> None:
    """Hold the chances against what came true, once for each state of the closed jobs."""
    with shop_store() as store:
        memory, home = shop_memory(store), home_folder()
        kept = kept_trust(home)
        if kept is not None and kept.state == trust_state(memory):
            say(f"chances measured before, on {kept.asked} closed jobs")
            return
        say("measuring the chances on closed jobs ...")
        made = measure_trust(memory, today=today())
    keep_trust(home, made)
    say(f"chances measured on {made.asked} closed jobs")
