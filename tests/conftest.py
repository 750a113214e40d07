"""What all tests share: an empty store, and the outside source of a failing figure."""

import gc
import os
from collections.abc import Generator, Iterator
from pathlib import Path

import pytest

from kb.store.engine import Store, default_url, open_store
from kb.workflow import memory
from kb.workflow.fitted import keep_from_collector
from tests.factories import make_store
from tests.made_once import make_once
from tests.postgres import EMPTY, REQUIRE, Server, running_server, server_programs

ENGINES = ("sqlite", "postgresql")
make_once()
# Each new fit looks for cycles in all that its process holds: ten thousand tests here, for which
# that took 0.4 s a fit, four fifths of a test that fits. Tests of just that ask for ``collector``.
memory.keep_from_collector = lambda: None  # type: ignore[attr-defined]


@pytest.fixture
def collector(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let a fit keep things from the collector of cycles as in a shop's server, none kept before."""
    gc.unfreeze()
    monkeypatch.setattr(memory, "keep_from_collector", keep_from_collector)
    yield
    gc.unfreeze()
    gc.collect()
    gc.freeze()


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Look for no cycles while tests are made, none of which ends: a sixth of the time it took."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.enable()
        gc.freeze()


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run what is marked so on both engines, each test once on either."""
    if metafunc.definition.get_closest_marker("both_engines"):
        on_both_engines(metafunc)


def on_both_engines(metafunc: pytest.Metafunc) -> None:
    """Run a test on either engine that uses a store; ``sqlite_only`` says why one does not."""
    only = metafunc.definition.get_closest_marker("sqlite_only")
    if "store_url" in metafunc.fixturenames and only is None:
        metafunc.parametrize("store_url", ENGINES, indirect=True)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Name the outside source of the expected values under a test that fails."""
    report = yield
    marks = list(item.iter_markers("source"))
    if report.failed and marks:
        places = "\n".join(": ".join(map(str, mark.args)) for mark in marks)
        report.sections.append(("expected values from", places))
    return report


@pytest.fixture(scope="session")
def postgres() -> Iterator[Server]:
    """Return a running PostgreSQL server, skip where none is installed."""
    programs = server_programs()
    if programs is None and os.environ.get(REQUIRE):
        pytest.fail(f"expected PostgreSQL's initdb since {REQUIRE} is set; apt install postgresql")
    if programs is None:
        pytest.skip("no PostgreSQL server is installed")
    with running_server(programs) as server:
        yield server


@pytest.fixture
def empty_postgres_url(postgres: Server) -> Iterator[str]:
    """Return the URL of a PostgreSQL database without tables, of this test's own."""
    with postgres.database(EMPTY) as url:
        yield url


@pytest.fixture
def store_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Return the URL of an empty store of this test's own."""
    if getattr(request, "param", "sqlite") == "postgresql":
        server = request.getfixturevalue("postgres")
        with server.database() as url:
            yield url
        return
    url = default_url(tmp_path)
    make_store(url)
    yield url


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    """Return an empty store of this test's own."""
    with open_store(store_url) as opened:
        yield opened
