"""A process that asks for a week at the same moment as others: run as a module with four words.

``python -m tests.kb.workflow.counting_process URL GATE COUNTED NAME``: waits until the file GATE is
there, asks for the week, writes its NAME into the file COUNTED where it counts, and prints what it
got: a review or nothing yet.
"""

import sys
import time
from collections.abc import Iterable
from datetime import UTC, date, datetime
from pathlib import Path

from kb.case.iso_week import IsoWeek
from kb.case.terms import load_vocabulary
from kb.store.engine import open_store
from kb.workflow import review
from kb.workflow.memory import Memory
from kb.workflow.week.rows import WeekRow
from kb.workflow.week.seen import Seen

WEEK = IsoWeek(date(2026, 11, 16))
NOW = datetime(2026, 11, 23, 7, tzinfo=UTC)
# As long as counting a large shop takes, so that all ask while one counts.
COUNTING_S = 1.0


def main(url: str, gate: Path, counted: Path, name: str) -> None:
    """Ask for the week once the gate is open."""

    def topic(seen: Seen) -> Iterable[WeekRow]:
        with counted.open("a", encoding="utf-8") as stream:
            stream.write(f"{name}\n")
        time.sleep(COUNTING_S)
        yield WeekRow(kind="kept", numbers={"jobs": len(seen.week_jobs)})

    review.TOPICS = (topic,)
    with open_store(url) as store:
        memory = Memory(store, load_vocabulary())
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        while not gate.exists():
            time.sleep(0.005)
        made = review.review_week(memory, WEEK, who=name, now=NOW)
    sys.stdout.write("nothing yet\n" if made is None else f"{made.jobs} jobs\n")


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), sys.argv[4])
