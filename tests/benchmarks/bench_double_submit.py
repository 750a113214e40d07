"""Records sent twice at the same moment, by programs and by forms: how many became two, or none.

``python -m tests.benchmarks.bench_double_submit --pairs 10000``
"""

import argparse
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

from tests.web.api.conftest import CLOSING, Program
from tests.web.conftest import Site
from web.auth import COOKIE

# Threads that send (our choice: as many as the pages are served with, and as many again).
THREADS = 8
Task = Callable[[], int]


class Twice:
    """Sends each record twice; ``wanted`` counts the lines of history that one each would leave."""

    def __init__(self, site: Site) -> None:
        site.app.config["WTF_CSRF_ENABLED"] = False
        self.site, self.program = site, Program(site)
        self.job = self.program.opened("noise")
        self.wanted: Counter[str] = Counter({"open": 1})

    def by_program(self, path: str, body: dict[str, object], key: str | None = None) -> int:
        """Post as a program."""
        head = self.program.head | ({"Idempotency-Key": key} if key else {})
        client = self.site.app.test_client()
        return int(client.post("/api/v1" + path, json=body, headers=head).status_code)

    def by_form(self, path: str, number: int, **form: str) -> int:
        """Post as a browser; ``number`` is the form's own."""
        client = self.site.app.test_client()
        client.set_cookie(COOKIE, self.site.session)
        return int(client.post(path, data={"form_id": f"{number:032x}", **form}).status_code)

    def pairs(self, count: int) -> Iterator[Task]:
        """Yield the two sendings of each record, kind after kind."""
        kinds = (self._opened, self._typed, self._either, self._closed)
        for number in range(count):
            verb, tasks = kinds[number % len(kinds)](number)
            self.wanted[verb] += 1
            yield from tasks

    def _opened(self, number: int) -> tuple[str, list[Task]]:
        body: dict[str, object] = {"text": f"no crank {number}"}
        return "open", [partial(self.by_program, "/jobs", body, f"k{number}")] * 2

    def _typed(self, number: int) -> tuple[str, list[Task]]:
        task = partial(self.by_form, "/jobs", number, text=f"warm {number}", action="open")
        return "open", [task] * 2

    def _either(self, number: int) -> tuple[str, list[Task]]:
        invoice = f"R{number}"
        body: dict[str, object] = {"text": "noise", "invoice": invoice}
        form = partial(self.by_form, "/jobs", number, text="noise", invoice=invoice, action="open")
        return "open", [partial(self.by_program, "/jobs", body), form]

    def _closed(self, number: int) -> tuple[str, list[Task]]:
        job = self.program.opened(f"noise {number}", invoice=f"C{number}")
        self.wanted["open"] += 1
        body: dict[str, object] = {"invoice": f"C{number}", "job": job, **CLOSING}
        return "close", [partial(self.by_program, "/closings", body)] * 2

    def found(self) -> Counter[str]:
        """Return the lines of history that there are."""
        with self.site.store.read() as unit:
            return Counter(line.verb for line in unit.history.since(0))


def main() -> None:
    """Send, count, print one line."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--pairs", type=int, default=1000)
    pairs = asked.parse_args().pairs
    with tempfile.TemporaryDirectory() as folder:
        site = Site(Path(folder))
        twice, started = Twice(site), time.monotonic()
        with ThreadPoolExecutor(THREADS) as pool:
            told = Counter(pool.map(lambda task: task(), twice.pairs(pairs)))
        found = twice.found()
        duplicates = sum(max(0, found[verb] - many) for verb, many in twice.wanted.items())
        lost = sum(max(0, many - found[verb]) for verb, many in twice.wanted.items())
        site.close()
    seconds = time.monotonic() - started
    print(
        f"{pairs} records sent twice in {seconds:.0f} s: {duplicates} became two, {lost} none; "
        f"answers by status {dict(sorted(told.items()))}"
    )


if __name__ == "__main__":
    main()
