"""What another process does to a store, run as ``python -m tests.kb.store.other_process``."""

import sys
import time
from dataclasses import replace
from datetime import UTC, datetime

from kb.case.shop_rows import ShopTerm
from kb.store.engine import Store, open_store
from tests.factories import a_case, a_job

NOW = datetime(2026, 5, 14, 9, 30, tzinfo=UTC)


def increment(url: str) -> None:
    """Read a job and write it with one line more, fifty times."""
    with open_store(url) as store:
        for _ in range(50):
            with store.write("other", NOW) as unit:
                job = unit.jobs.get("J1")
                unit.jobs.save(replace(job, lines=(*job.lines, "once more")), verb="add")


def take_ids(url: str) -> None:
    """Open twenty jobs under new ids."""
    with open_store(url) as store:
        for _ in range(20):
            with store.write("other", NOW) as unit:
                unit.jobs.add(a_job(unit.jobs.next_id()), verb="open")


def close_one(url: str) -> None:
    """Close the job J1."""
    with open_store(url) as store, store.write("other", NOW) as unit:
        unit.jobs.save(a_case("J1"), verb="close")


def say_word(url: str) -> None:
    """Say that "wuffles" means that the air is not cold."""
    term = ShopTerm(
        kind="synonym", key="wuffles", name="wuffles",
        body={"means": "symptom", "what": "ac_not_cold"},
    )  # fmt: skip
    with open_store(url) as store, store.write("other", NOW) as unit:
        unit.terms.add(term)


def write_until_killed(url: str) -> None:
    """Write jobs without an end, printing each id once it is safe."""
    with open_store(url) as store:
        while True:
            write_next(store)


def write_next(store: Store) -> None:
    """Write one job and print its id once it is safe."""
    with store.write("other", NOW) as unit:
        job_id = unit.jobs.next_id()
        unit.jobs.add(a_case(job_id), verb="import")
    sys.stdout.write(f"{job_id}\n")
    sys.stdout.flush()


def write_steadily(url: str) -> None:
    """Write as ``write_until_killed`` does, but at most twenty a second: a busy shop."""
    with open_store(url) as store:
        while True:
            write_next(store)
            time.sleep(0.05)


if __name__ == "__main__":
    known = (increment, take_ids, close_one, say_word, write_until_killed, write_steadily)
    deeds = {made.__name__: made for made in known}
    deeds[sys.argv[1]](sys.argv[2])
