"""What the pages hold: many connections at once, one request in twenty a write.

Run: ``python -m tests.benchmarks.bench_load [--cases 10000] [--seconds 120] [--connections 16]``.
Needs ``wrk`` (Debian's package of that name). The shop is served by ``baybook serve`` on this
machine, as a shop would; the one who asks shares its processors. In the same run, served the same
way, stands a bare Flask page: the ratio says more than a figure of one machine.

The pages are asked for in the shares below, which are a guess at a shop's day (our choice). Half of
the questions are asked once only, so that no answer of theirs can be remembered. Writes add to an
open job, take the last write back, or say what a job waits for, so that jobs stay as long as a
job is. A close is not among them: after one the memory is fitted anew, which is another measure
(``bench_close``).
"""

import argparse
import json
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote_plus, urlencode
from urllib.request import Request, urlopen

from kb.case.terms import load_vocabulary
from kb.store.engine import Store, default_url, open_store
from kb.store.migrate import upgrade
from kb.workflow.jobs import add_text
from tests.benchmarks.bench_pages import WEEK, fill
from tests.kb.store.other_process import NOW
from tests.web.conftest import session_for
from web.auth import COOKIE
from web.rights import Role

SCRIPT = Path(__file__).with_name("load.lua")
QUESTIONS = Path(__file__).parent.parent / "sources" / "job_descriptions.jsonl"
OPEN_JOBS = 30
JOBS = tuple(f"/job/J{number + 1:06d}" for number in range(OPEN_JOBS))
# Of a hundred pages asked for, how many are of which kind.
SHARES = {
    "today": 25,
    "job": 22,
    "case": 25,
    "find": 8,
    "typing": 8,
    "customer": 4,
    "week": 4,
    "words": 4,
}
PAGES, WRITES_IN_MIX, WRITERS = 20_000, 0.05, 8
TEXTS = (
    "fan silent with the A/C on",
    "12.1 V at the plug",
    "low 41 hi 250 after cooling",
    "no codes",
)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        return int(taken.getsockname()[1])


def job_path(rng: random.Random) -> str:
    """Return the address of one of the open jobs."""
    return rng.choice(JOBS)


def page_paths(cases: int, rng: random.Random) -> Iterator[str]:
    """Return the addresses of pages in their shares, in no order."""
    asks = [json.loads(line)["ask"] for line in QUESTIONS.read_text("utf-8").splitlines()]
    kinds, weights = list(SHARES), list(SHARES.values())
    for at in range(PAGES):
        kind = rng.choices(kinds, weights)[0]
        case = f"/case/B{rng.randrange(cases):06d}"
        once = f"; amb {60 + at / 1000:.3f} F" if at % 2 else ""
        yield {
            "today": "/",
            "job": job_path(rng),
            "case": case,
            "find": f"/find?q={quote_plus(rng.choice(asks)[:300] + once)}",
            "typing": f"{job_path(rng)}/answers?text={quote_plus(rng.choice(TEXTS) + once)}",
            "customer": f"{case}/customer",
            "week": WEEK,
            "words": "/words",
        }[kind]


def forms(rng: random.Random) -> Iterator[str]:
    """Return writes as lines of address and body, in the order in which each asker sends them.

    Every open job is added to once before any of these lines is taken back, so that two writes to
    one job never hurry past each other, and a job gets no longer than it is.
    """
    for _ in range(50):
        waits_for = urlencode({"waits_for": rng.choice(("", "a part", "a word"))})
        for job in JOBS:
            text = urlencode({"text": f"{rng.choice(TEXTS)} {rng.randrange(1000)}"})
            yield f"{job}/add {text}"
        yield from (f"{job}/undo from=bench" for job in JOBS)
        yield from (f"{job}/wait {waits_for}" for job in JOBS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """A served shop: where, by whom it is asked, and the process that serves."""

    base: str
    cookie: str
    token: str
    process: subprocess.Popen[bytes]


def family(process: int) -> list[int]:
    """Return a process and those that it began."""
    with open(f"/proc/{process}/task/{process}/children", encoding="ascii") as file:
        return [process, *(int(one) for one in file.read().split())]


def resident_mb(process: int) -> float:
    """Return the memory that a process and its own hold, in megabytes."""
    pages = 0
    for one in family(process):
        with open(f"/proc/{one}/statm", encoding="ascii") as file:
            pages += int(file.read().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def asked(base: str, path: str, cookie: str = "") -> tuple[str, str]:
    """Return a page and the cookies that came with it; waits until somebody serves."""
    for _ in range(600):
        try:
            with urlopen(Request(base + path, headers={"Cookie": cookie}), timeout=300) as answer:
                came = answer.headers.get_all("Set-Cookie") or ()
                return answer.read().decode(), "; ".join(one.partition(";")[0] for one in came)
        except OSError:
            time.sleep(0.2)
    raise SystemExit(f"expected an answer at {base}{path}, got none")


@contextmanager
def running(words: Sequence[str], env: Mapping[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    """Run a server until the block ends."""
    process = subprocess.Popen(
        words, env={**os.environ, **env}, stdout=subprocess.DEVNULL, stderr=sys.stderr
    )
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=60)


@contextmanager
def served(home: Path, processes: int) -> Iterator[Shop]:
    """Serve the shop in ``home`` with somebody signed in, every process warm."""
    port = free_port()
    base = f"http://127.0.0.1:{port}"
    with open_store(default_url(home)) as store:
        session = f"{COOKIE}={session_for(store, Role.OWNER)}"
    command = [sys.executable, "-m", "web.cli", "serve", "--port", str(port)]
    env = {"BAYBOOK_HOME": str(home), "BAYBOOK_DB": ""}
    with running([*command, "--processes", str(processes)], env) as process:
        page, came = asked(base, "/", session)
        cookie = f"{session}; {came}"
        (token,) = set(re.findall(r'name="csrf_token" value="([^"]+)"', page))
        yield Shop(base=base, cookie=cookie, token=token, process=process)


def wrk(shop: Shop, lists: Mapping[str, Path], *, writes: float, seconds: int, connections: int):
    """Return what wrk measured."""
    env = {
        "LOAD_SEED": str(time.time_ns() % 1_000_000_000),
        "LOAD_WRITES": str(writes),
        "LOAD_COOKIE": shop.cookie,
        "LOAD_TOKEN": shop.token,
        **{f"LOAD_{name.upper()}": str(path) for name, path in lists.items()},
    }
    threads = min(2, connections)
    env["LOAD_THREADS"] = str(threads)
    words = ["wrk", f"-t{threads}", f"-c{connections}", f"-d{seconds}s", "--timeout", "10s"]
    run = subprocess.run(
        [*words, "-s", str(SCRIPT), shop.base],
        env={**os.environ, **env},
        capture_output=True,
        text=True,
        check=True,
    )
    (line,) = re.findall(r"JSON (\{.*\})", run.stdout)
    found = json.loads(line)
    return {**found, "per_second": found["requests"] / found["seconds"]}


BARE = """
import sys
from flask import Flask
from web.serving import Door, serve

def make_app():
    app = Flask("bare")
    app.add_url_rule("/", "page", lambda: "<!doctype html><title>Bare</title><p>Bare")
    return app

serve(make_app, Door(host="127.0.0.1", port=int(sys.argv[1]), limits={}), processes=int(sys.argv[2]))
"""


def bare_page(folder: Path, *, processes: int, connections: int) -> float:
    """Return how many times a second a bare Flask page is served the same way."""
    port = free_port()
    only = folder / "bare.txt"
    only.write_text("/\n", encoding="ascii")
    with running([sys.executable, "-c", BARE, str(port), str(processes)], {}) as process:
        base = f"http://127.0.0.1:{port}"
        asked(base, "/")
        shop = Shop(base=base, cookie="", token="", process=process)
        lists = {"pages": only, "forms": only}
        found = wrk(shop, lists, writes=0.0, seconds=10, connections=connections)
    return float(found["per_second"])


def written(home: Path) -> int:
    """Return how many lines the history has."""
    with open_store(default_url(home)) as store, store.read() as unit:
        return unit.history.last_seq()


def say(what: str, found: Mapping[str, float], bare: float) -> None:
    """Print one line of what was measured."""
    print(
        f"{what}: {found['per_second']:.0f} requests/s ({bare / found['per_second']:.1f} times "
        f"fewer than a bare page), p50 {found['p50']:.0f} p95 {found['p95']:.0f} "
        f"p99 {found['p99']:.0f} worst {found['worst']:.0f} ms, "
        f"{found['requests']:.0f} in all, {found['wrong'] + found['broken']:.0f} wrong"
    )


def make_shop(home: Path, cases: int) -> None:
    """Fill a shop unless one is there."""
    if not (home / "baybook.db").exists():
        upgrade(default_url(home))
        with open_store(default_url(home)) as store:
            fill(store, closed=cases, opened=OPEN_JOBS)
            _write_once(store)


def _write_once(store: Store) -> None:
    """Write to every open job, so that each has a write to take back."""
    words = load_vocabulary()
    with store.write("Ines", NOW) as unit:
        for job in unit.jobs.open_jobs():
            add_text(unit, job.id, TEXTS[0], words=words)


def measure(args: argparse.Namespace, home: Path, folder: Path) -> Iterator[str]:
    """Measure and print; return what falls short of what was demanded."""
    rng = random.Random(20261128)
    lists = {"pages": folder / "pages.txt", "forms": folder / "forms.txt"}
    lists["pages"].write_text("\n".join(page_paths(args.cases, rng)), encoding="utf-8")
    lists["forms"].write_text("\n".join(forms(rng)), encoding="utf-8")
    bare = bare_page(folder, processes=args.processes, connections=args.connections)
    print(f"bare page: {bare:.0f} requests/s")
    with served(home, args.processes) as shop:
        asked(shop.base, "/job/J000001", shop.cookie)
        asked(shop.base, WEEK, shop.cookie)
        # Both processes have the memory and all pages once before anything is measured.
        wrk(shop, lists, writes=WRITES_IN_MIX, seconds=args.warm, connections=args.connections)
        before, lines = resident_mb(shop.process.pid), written(home)
        mix = wrk(
            shop,
            lists,
            writes=WRITES_IN_MIX,
            seconds=args.seconds,
            connections=args.connections,
        )
        grown = resident_mb(shop.process.pid) - before
        say(f"mix, {args.connections} connections, {mix['writes']} writes", mix, bare)
        print(f"memory {before:.0f} MB and {grown:+.1f} MB in {args.seconds} s")
        lines = written(home) - lines
        print(f"lines of history {lines}, writes answered about {mix['writes']}")
        alone = wrk(shop, lists, writes=1.0, seconds=args.writing, connections=WRITERS)
        say(f"writes alone, {WRITERS} connections", alone, bare)
    yield from short(mix, alone, grown, args)


def short(mix, alone, grown: float, args: argparse.Namespace) -> Iterator[str]:
    """Return what falls short of what a shop was promised."""
    for what, got, least, most in (
        ("requests a second", mix["per_second"], args.least, None),
        ("p95 ms", mix["p95"], None, 60 * args.slack),
        ("p99 ms", mix["p99"], None, 150 * args.slack),
        ("wrong answers", mix["wrong"] + mix["broken"], None, 0),
        ("MB grown", grown, None, 10),
        ("writes a second", alone["per_second"], args.least * 2 / 3, None),
        ("p99 ms of writes", alone["p99"], None, 100 * args.slack),
        ("wrong answers to writes", alone["wrong"] + alone["broken"], None, 0),
    ):
        if (least is not None and got < least) or (most is not None and got > most):
            wanted = f"at least {least:.0f}" if least is not None else f"at most {most:.0f}"
            yield f"expected {what} {wanted}, got {got:.1f}"


def main() -> None:
    """Print what the pages hold; end with 1 after a wrong answer, or with ``--strict`` if short."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--seconds", type=int, default=120)
    parser.add_argument("--warm", type=int, default=20)
    parser.add_argument("--writing", type=int, default=20)
    parser.add_argument("--connections", type=int, default=16)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--home", type=Path, help="a shop that was filled before")
    parser.add_argument("--least", type=float, default=300.0)
    parser.add_argument("--slack", type=float, default=1.0)
    parser.add_argument("--strict", action="store_true")
    args = parser.parse_args()
    if shutil.which("wrk") is None:
        raise SystemExit("expected wrk, got none; apt-get install wrk")
    with tempfile.TemporaryDirectory() as folder:
        home = args.home or Path(folder, "shop")
        home.mkdir(exist_ok=True)
        make_shop(home, args.cases)
        failed = list(measure(args, home, Path(folder)))
    for line in failed:
        print(line)
    if any(args.strict or "wrong answers" in line for line in failed):
        raise SystemExit(1)


if __name__ == "__main__":
    main()
