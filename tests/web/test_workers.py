"""Pages whose memory lies in parts: the same as from one part."""

import os
import signal
import socket
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial

import pytest
from click.testing import CliRunner

from kb.errors import ParseError, StoreError
from kb.retrieval.cluster import ClusterShards
from kb.retrieval.shards import ShardedIndex
from kb.workflow import following, memory
from kb.workflow.spread import SHARDS, Spread, in_one
from tests.kb.workflow.test_close import closed, opened
from tests.memory_parts import KeptHere
from tests.web.conftest import QUICK, Browser, closed_case, session_for
from tests.web.test_kept_parts import bare
from web import create_app, serve_commands, workers
from web.cli import main
from web.rights import Role
from web.workers import USUAL_PARTS, Address, connected, spreading

PARTS = 3
TOLD = (
    ("warm at lights; hi 318 psi low 58 psi", "condenser_fan_dead"),
    ("no crank, no click; batt 12.6 V", "starter_worn"),
    ("warm everywhere, oil film at the line; low 20 psi", "low_charge_leak"),
    ("cold on the road, warm at lights", "overcharge"),
)
ASKED = ("no+crank", "warm+at+lights;+hi+310", "a+zorble+noise", "oil+film")


@pytest.fixture(autouse=True)
def _small_shops_are_spread(monkeypatch):
    monkeypatch.setattr(following, "FOLLOWED_FROM", 1)
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    monkeypatch.setattr(workers, "Spread", partial(Spread, least=1))


@pytest.fixture
def here(monkeypatch):
    """Let this process hold the parts, and return the addresses that were connected to."""
    addresses: list[str] = []
    monkeypatch.setattr(workers, "connected", addresses.append)
    monkeypatch.setattr(
        workers, "ClusterShards", lambda _, *args, **known: KeptHere(*args, **known)
    )
    return addresses


def with_workers(site, address):
    """Return the browser of the owner of a site whose pages ask workers."""
    settings = {"HOME": site.home, "STORE_URL": site.url, "HASHER": QUICK}
    app = create_app({**settings, "CLUSTER": address, "PARTS": PARTS})
    return Browser(app, session_for(site.store, Role.OWNER))


def assert_same_pages(site, browser, job):
    paths = [f"/find?q={asked}" for asked in ASKED] + [f"/answers?q={asked}" for asked in ASKED]
    paths += ["/find?q=no+crank&cause=starter_worn", f"/job/{job}", f"/job/{job}/answers"]
    for path in paths:
        assert bare(browser.page(path)) == bare(site.page(path)), path
    assert parts_of(browser) == PARTS
    assert parts_of(site) == 1


def parts_of(browser):
    """Return in how many parts what answers now lies."""
    index = browser.app.extensions["baybook"].fitted().index
    return len(index.shards) if isinstance(index, ShardedIndex) else 1


def shop_of(site):
    site.put(*(closed_case(f"C{at}", *TOLD[at % len(TOLD)]) for at in range(24)))
    return site.opened("warm at lights; hi 318 psi low 58 psi; 12.6")


def test_pages_are_the_same_and_a_close_is_found_by_the_next_search(site, here):
    job = shop_of(site)
    browser = with_workers(site, "tcp://127.0.0.1:8786")
    assert here == ["tcp://127.0.0.1:8786"]
    assert_same_pages(site, browser, job)
    case = closed(site, opened(site))
    site.put(closed_case("X1", "a zorble noise from the roof", "overcharge"))
    assert 'href="/case/X1"' in browser.page("/find?q=a+zorble+noise+from+the+roof")
    assert case.id in set(browser.app.extensions["baybook"].fitted().index.ids_)
    assert_same_pages(site, browser, job)
    assert len([path for path in (site.home / SHARDS).iterdir() if path.is_dir()]) == 1


def test_without_a_cluster_the_memory_is_here(site):
    assert spreading({"CLUSTER": None, "PARTS": USUAL_PARTS, "HOME": site.home}) is in_one
    site.page("/find?q=no+crank")
    assert not (site.home / SHARDS).exists()


# --- where the workers are asked ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "host", "port"),
    [
        ("tcp://127.0.0.1:8786", "127.0.0.1", 8786),
        ("tcp://localhost:1", "localhost", 1),
        ("tcp://[::1]:8786", "::1", 8786),
        ("tls://bay.shop.example:8786", "bay.shop.example", 8786),
        ("tls://192.168.1.20:8786", "192.168.1.20", 8786),
    ],
)
def test_an_address_is_read(typed, host, port):
    assert Address.read(typed) == Address(text=typed, host=host, port=port)


@pytest.mark.parametrize(
    "typed", ["", "127.0.0.1:8786", "tcp://127.0.0.1", "http://127.0.0.1:8786", "tcp://a b:1"]
)
def test_what_is_no_address_is_refused_with_one_that_is(typed):
    with pytest.raises(ParseError, match=r"like tcp://127\.0\.0\.1:8786, got"):
        Address.read(typed)


@pytest.mark.parametrize("typed", ["tcp://192.168.1.20:8786", "tcp://bay.shop.example:8786"])
def test_another_machine_is_asked_with_certificates_alone(typed):
    with pytest.raises(ParseError, match="expected tls:// for a scheduler on another machine"):
        Address.read(typed)


@pytest.fixture
def home(site, monkeypatch):
    """Return the folder of a shop as commands find it."""
    monkeypatch.setenv("BAYBOOK_HOME", str(site.home))
    monkeypatch.delenv("BAYBOOK_DB", raising=False)
    return site.home


def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


@contextmanager
def listening(*, says: bytes, hangs_up: bool = False):
    """Yield the address of somebody who says this to who comes first."""
    with socket.create_server(("127.0.0.1", 0)) as listens, ThreadPoolExecutor(1) as beside:

        def answer():
            came, _ = listens.accept()
            with came:
                came.sendall(says)
                if not hangs_up:
                    came.recv(1)

        beside.submit(answer)
        yield f"tcp://127.0.0.1:{listens.getsockname()[1]}"


@pytest.mark.parametrize(("hangs_up", "got"), [(False, "TimeoutError"), (True, "hung up")])
def test_who_is_no_scheduler_is_told(monkeypatch, hangs_up, got):
    monkeypatch.setattr(workers, "ANSWERS_WITHIN_S", 0.2)
    with (
        listening(says=b"", hangs_up=hangs_up) as address,
        pytest.raises(StoreError, match=f"expected a scheduler at {address}, got .*{got}"),
    ):
        Address.read(address).look()


@pytest.mark.usefixtures("home")
def test_that_nobody_listens_is_told_before_anything_is_served(monkeypatch):
    monkeypatch.setattr(serve_commands, "serve_pages", lambda *_, **__: pytest.fail("served"))
    address = f"tcp://127.0.0.1:{free_port()}"
    result = CliRunner().invoke(main, ["serve", "--cluster", address])
    assert result.exit_code != 0
    assert f"expected a scheduler at {address}" in result.output


def test_that_dask_is_not_installed_is_told(monkeypatch):
    monkeypatch.setattr(workers, "find_spec", lambda _: None)
    with pytest.raises(StoreError, match=r"pip install 'baybook\[cluster\]'"):
        Address.read("tcp://127.0.0.1:8786").look()


@pytest.mark.usefixtures("home")
def test_the_command_hands_on_where_and_in_how_many_parts(monkeypatch):
    served = []
    monkeypatch.setattr(serve_commands, "serve_pages", lambda known, **_: served.append(known))
    with listening(says=b"!") as address:
        known = ["serve", "--cluster", address, "--parts", "7"]
        assert CliRunner().invoke(main, known, catch_exceptions=False).exit_code == 0
    (settings,) = served
    assert (settings["CLUSTER"], settings["PARTS"]) == (address, 7)


def test_serving_without_a_cluster_takes_old_parts_away(home, monkeypatch):
    monkeypatch.setattr(serve_commands, "serve_pages", lambda *_, **__: None)
    (home / SHARDS / "old").mkdir(parents=True)
    assert CliRunner().invoke(main, ["serve"], catch_exceptions=False).exit_code == 0
    assert not (home / SHARDS).exists()


# --- with workers ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    distributed = pytest.importorskip("distributed", reason="needs the extra named cluster")
    with distributed.LocalCluster(
        n_workers=4,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
        local_directory=str(tmp_path_factory.mktemp("workers")),
    ) as made:
        yield made


def where(shards):
    """Return the address of the worker that has the first part."""
    placed = shards._places[0].placed
    return placed and placed.address


@pytest.mark.slow
def test_a_scheduler_is_taken_for_one(cluster):
    look = Address.read(cluster.scheduler_address).look
    assert look() is None


@pytest.mark.slow
def test_pages_over_worker_processes_are_the_same_also_after_one_was_killed(
    site, cluster, monkeypatch
):
    made = []

    def connecting(address):
        made.append(connected(address))
        return made[-1]

    monkeypatch.setattr(workers, "connected", connecting)
    job = shop_of(site)
    browser = with_workers(site, cluster.scheduler_address)
    (connection,) = made
    client = connection()
    assert client is not None
    try:
        assert_same_pages(site, browser, job)
        site.put(closed_case("X1", "a zorble noise from the roof", "overcharge"))
        assert 'href="/case/X1"' in browser.page("/find?q=a+zorble+noise+from+the+roof")
        assert_same_pages(site, browser, job)
        shards = browser.app.extensions["baybook"].fitted().index.shards
        assert isinstance(shards, ClusterShards)
        address = where(shards)
        os.kill(client.run(os.getpid, workers=[address])[address], signal.SIGKILL)
        text = browser.page("/find?q=grinding+noise+at+the+rear")
        assert "did not answer" not in text
        assert bare(text) == bare(site.page("/find?q=grinding+noise+at+the+rear"))
        assert where(shards) != address
    finally:
        client.close()
