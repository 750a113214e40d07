import csv
import json
import re
import socket
from datetime import UTC, datetime
from socket import gethostname

import pytest
from click.testing import CliRunner

from kb.case.model import Origin
from kb.case.terms import load_vocabulary
from kb.store.engine import default_url, open_store
from kb.workflow.jobs import draft_job
from tests.web.conftest import SEEDS, closed_case
from tests.web.test_cli import Terminal, empty, terminal
from web import shop_commands
from web.cli import main
from web.photos import MAX_BYTES
from web.shop_commands import DEMO_JOB, make_demo

__all__ = ["empty", "terminal"]

TABLE = "Day,Words,Part,Mode\n2024-03-01,hose leaking,Hose,Leak\n2024-03-02,no start,NA,NA\n"
MAP = [
    "--map",
    "text=Words",
    "--map",
    "date=Day",
    "--map",
    "component=Part",
    "--map",
    "failure=Mode",
]


def jobs_of(home):
    with open_store(default_url(home)) as store, store.read() as unit:
        return unit.jobs.closed_jobs()


def rows_of(path):
    return list(csv.reader(path.read_text(encoding="utf-8").splitlines()))


# --- init ----------------------------------------------------------------------------------------


def test_init_makes_an_empty_shop_and_leaves_a_full_one_alone(terminal):
    before = jobs_of(terminal.home)
    assert "shop ready in" in terminal.said("init")
    assert jobs_of(terminal.home) == before
    assert len(before) == 3


# --- import --------------------------------------------------------------------------------------


@pytest.fixture
def orders(tmp_path):
    path = tmp_path / "orders.csv"
    path.write_text(TABLE)
    return path


def test_a_dry_run_reports_and_loads_nothing(empty, orders):
    told = empty.told("import", str(orders), *MAP, "--dry-run", "--json")
    assert (told["read"], told["good"], told["added"], told["refused"]) == (2, 2, 0, 0)
    assert told["known_before"] is None
    assert jobs_of(empty.home) == ()


def test_the_same_table_twice_adds_nothing(empty, orders):
    first, second = (empty.told("import", str(orders), *MAP, "--json") for _ in range(2))
    assert (first["added"], first["known_before"]) == (2, 0)
    assert (second["added"], second["known_before"]) == (0, 2)
    assert len(jobs_of(empty.home)) == 2
    assert empty.told("find", "leaky hose", "--json")["matches"][0]["cause"] == "Hose: Leak"


def test_refused_rows_are_written_beside_the_table_and_the_first_ones_shown(empty, orders):
    orders.write_text(TABLE + "someday,words,P,M\n2024-03-03,,P,M\n")
    result = empty.run("import", str(orders), *MAP)
    assert "refused: 2" in result.stdout
    assert "line 4: expected a date" in result.stdout
    head, *rows = rows_of(orders.with_name("orders.refused.csv"))
    assert head == ["line", "reason", "Day", "Words", "Part", "Mode"]
    assert [row[0] for row in rows] == ["4", "5"]
    assert rows[0][2:] == ["someday", "words", "P", "M"]


def test_a_table_without_refused_rows_leaves_no_file_beside_it(empty, orders):
    text = empty.run("import", str(orders), *MAP).stdout
    assert "refused: 0" in text
    assert "None" not in text
    assert [path.name for path in orders.parent.glob("*.csv")] == ["orders.csv"]


def test_the_mapping_may_stand_in_a_file(empty, orders):
    file = orders.with_name("map.toml")
    file.write_text('text = "Words"\ndate = "Day"\n')
    told = empty.told("import", str(orders), "--map-file", str(file), "--json")
    assert told["added"] == 2


@pytest.mark.parametrize(
    ("pairs", "part"),
    [
        ([], "--map text=COLUMN"),
        (["--map", "text=Wrods", "--map", "date=Day"], "Wrods"),
        (["--map", "colour=Words", *MAP], "colour"),
    ],
)
def test_a_mapping_that_cannot_work_is_told_in_one_line(empty, orders, pairs, part):
    text = empty.said("import", str(orders), *pairs, code=1)
    assert part in text
    assert text.splitlines()[-1].startswith("Error: expected")


# --- demo and serve ------------------------------------------------------------------------------


@pytest.fixture
def five_weeks(monkeypatch):
    """Invent five weeks of jobs, not two years."""
    monkeypatch.setattr(shop_commands, "DEMO_YEARS", 0.1)


@pytest.mark.slow
@pytest.mark.usefixtures("five_weeks")
def test_the_demonstration_shows_one_job_and_ends(tmp_path, monkeypatch):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path / "own"))
    monkeypatch.setenv("BAYBOOK_DB", "sqlite:////nowhere/real.db")
    folder = tmp_path / "demo"
    first, result = (
        CliRunner().invoke(main, ["demo", "--once", "--folder", str(folder)]) for _ in range(2)
    )
    assert (first.exit_code, result.exit_code) == (0, 0), result.output
    for part in (
        DEMO_JOB,
        "all invented",
        "job J000001",
        "Seen before",
        "Likely causes",
        "Next check",
    ):
        assert part in result.output
    with open_store(default_url(folder)) as store, store.read() as unit:
        own = [job.id for job in unit.jobs.open_jobs() if job.origin is not Origin.INVENTED]
        assert own == ["J000001"]
        assert len(unit.jobs.witnesses()) > 100
        invented, since = unit.weeks.invented()
    assert invented > 100
    assert f"{invented} more since {since}; no answer draws on them" in result.output
    assert first.output == result.output
    assert not (tmp_path / "own").exists()


@pytest.mark.slow
@pytest.mark.usefixtures("five_weeks")
def test_the_demonstration_takes_the_named_home_unless_a_real_shop_is_there(tmp_path, monkeypatch):
    home = tmp_path / "home"
    monkeypatch.setenv("BAYBOOK_HOME", str(home))
    for _ in range(2):
        result = CliRunner().invoke(main, ["demo", "--once"])
        assert result.exit_code == 0, result.output
        assert str(home) in result.output
    real = tmp_path / "real"
    monkeypatch.setenv("BAYBOOK_HOME", str(real))
    assert CliRunner().invoke(main, ["init"]).exit_code == 0
    result = CliRunner().invoke(main, ["demo", "--once"])
    assert str(real) not in result.output
    with open_store(default_url(real)) as store, store.read() as unit:
        assert unit.jobs.count() == 0


def test_the_demonstration_then_serves_its_own_folder(tmp_path, monkeypatch):
    served = []
    monkeypatch.setattr(shop_commands, "read_folder", lambda *_, **__: ([], ["S1: no cause"]))
    monkeypatch.setattr(shop_commands, "demo_job", _opened_as_a_case)
    monkeypatch.setattr(shop_commands, "serve_pages", lambda known, **_: served.append(known))
    monkeypatch.delenv("BAYBOOK_HOME", raising=False)
    result = CliRunner().invoke(main, ["demo"])
    assert result.exit_code == 0, result.output
    assert "left out: S1: no cause" in result.stderr
    (settings,) = served
    assert settings["STORE_URL"] == default_url(settings["HOME"])
    assert not settings["HOME"].exists()


def _opened_as_a_case(store, words):
    job = closed_case("S1", *SEEDS["S1"])
    with store.write("Ines", datetime(2026, 5, 4, tzinfo=UTC)) as unit:
        if not unit.jobs.count():
            unit.jobs.add(job, verb="import")
    return draft_job("warm", words=words, today=job.opened)


@pytest.mark.slow
def test_a_demonstration_shop_is_made_once(tmp_path):
    words = load_vocabulary()
    with make_demo(tmp_path, words, years=0.1) as store, store.read() as unit:
        first = unit.history.last_seq()
        assert {row.who for row in unit.history.since(0)} > {"Anselm", "Birte", "Edda"}
    with make_demo(tmp_path, words, years=0.1) as store, store.read() as unit:
        assert unit.history.last_seq() == first > 100


@pytest.fixture
def served(monkeypatch):
    """Return what would be served: the application and where it listens."""
    calls = []
    monkeypatch.setattr("web.serving.serve", lambda made, door, **_: calls.append((made(), door)))
    yield calls
    for app, _ in calls:
        app.extensions["baybook"].store.close()


def the_link(text):
    (path,) = re.findall(r"http://[^/\s]+(/sign-in/\S+)", text)
    return path


def take(app, path, host="localhost", **form):
    """Open a link and press its button."""
    client = app.test_client()
    page = client.get(path, headers={"Host": host})
    assert page.status_code == 200
    token = re.findall(r'name="csrf_token" value="([^"]+)"', page.text)[0]
    answer = client.post(path, data={"csrf_token": token, **form}, headers={"Host": host})
    assert (answer.status_code, answer.location) == (302, "/")
    return client


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.4"])
def test_serving_to_others_is_refused_until_the_shop_has_an_owner(terminal, served, host):
    text = terminal.said("serve", "--host", host, code=2)
    assert "expected an owner before others can reach the pages" in text
    assert served == []
    terminal.run("user", "add", "Mara Tolling", "--role", "owner")
    terminal.run("serve", "--host", host)
    assert served[0][1].host == host


def test_behind_a_proxy_the_pages_listen_to_this_machine_and_believe_it_alone(terminal, served):
    assert "--name NAME" in terminal.said("serve", "--proxy", code=2)
    proxy = ("serve", "--proxy", "--name", "bay.shop.example")
    assert "get round" in terminal.said(*proxy, "--host", "0.0.0.0", code=2)
    assert "an owner before others" in terminal.said(*proxy, code=2)
    assert served == []
    terminal.run("user", "add", "Mara Tolling", "--role", "owner")
    text = terminal.said(*proxy)
    assert "Open https://bay.shop.example/" in text
    assert "sign-in/" not in text
    ((app, door),) = served
    assert (door.host, door.limits["trusted_proxy"]) == ("127.0.0.1", "127.0.0.1")
    assert app.config["PROXY"]
    assert "bay.shop.example" in app.config["SHOP_HOSTS"]
    terminal.run("serve")
    assert "trusted_proxy" not in served[1][1].limits


def test_the_first_start_prints_a_link_by_which_the_owner_names_himself(terminal, served):
    text = terminal.said("serve")
    ((app, _),) = served
    client = take(app, the_link(text), name="Mara Tolling", password="shop rain lamp")
    assert "Mara Tolling" in client.get("/").text
    assert "sign-in/" not in terminal.said("serve")
    told = terminal.told("user", "list", "--json")["people"]
    assert [(row["name"], row["role"], row["password"]) for row in told] == [
        ("Mara Tolling", "owner", True)
    ]


def test_the_demonstration_prints_a_link_that_asks_nothing_more(tmp_path, monkeypatch, served):
    monkeypatch.setattr(shop_commands, "read_folder", lambda *_, **__: ([], []))
    monkeypatch.setattr(shop_commands, "demo_job", _opened_as_a_case)
    for _ in range(2):
        result = CliRunner().invoke(main, ["demo", "--folder", str(tmp_path)])
        assert result.exit_code == 0, result.output
        client = take(served[-1][0], the_link(result.output))
        assert "Mara Tolling" in client.get("/").text
    once = CliRunner().invoke(main, ["demo", "--folder", str(tmp_path), "--once"])
    assert "sign-in" not in once.output


def test_served_to_the_shop_the_pages_answer_to_its_own_names_alone(terminal, served):
    terminal.run("user", "add", "Mara Tolling", "--role", "owner")
    terminal.run("serve", "--host", "0.0.0.0", "--name", "bay.example")
    ((app, _),) = served
    told = {
        host: app.test_client().get("/sign-in", headers={"Host": host}).status_code
        for host in ("192.168.1.4:8023", "bay.example", gethostname(), "evil.example")
    }
    assert list(told.values()) == [200, 200, 200, 400]


def test_serve_hands_the_shops_pages_to_the_server(terminal, served):
    text = terminal.said("serve", "--port", "8123")
    assert "http://127.0.0.1:8123/" in text
    ((app, door),) = served
    known = door.limits
    assert (door.host, door.port) == ("127.0.0.1", 8123)
    # Longer than any form with photos, and nothing near what would fill a disk.
    assert MAX_BYTES < known["max_request_body_size"] <= 50_000_000
    assert "trusted_proxy" not in known
    assert app.config["HOME"] == terminal.home
    assert app.test_client().get("/case/S1").location == "/sign-in?next=/case/S1"


def test_a_port_that_is_taken_is_told_in_one_line(terminal):
    with socket.create_server(("127.0.0.1", 0)) as other:
        text = terminal.said("serve", "--port", str(other.getsockname()[1]), code=1)
    assert "Address already in use" in text
    assert "--port" in text


def test_serve_without_a_shop_says_what_to_run(tmp_path, monkeypatch):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path / "none"))
    monkeypatch.delenv("BAYBOOK_DB", raising=False)
    assert "baybook init" in Terminal(tmp_path).said("serve", code=1)
    assert not (tmp_path / "none").exists()


# --- measure -------------------------------------------------------------------------------------

RANKING = {"ndcg@10", "hit@1", "hit@3", "hit@5", "mrr@10", "queries"}
CAUSES = {
    "queries", "hit@1", "hit@1_interval", "hit@3", "hit@3_interval", "hit@5", "hit@5_interval",
    "mrr", "brier", "ece", "reliability", "risk_coverage",
}  # fmt: skip


@pytest.fixture
def collection(tmp_path):
    folder = tmp_path / "collection"
    folder.mkdir()
    texts = {"d1": "hose leaking at the boom", "d2": "no start, battery flat", "d3": "door squeaks"}
    rows = [json.dumps({"id": key, "text": text}) for key, text in texts.items()]
    (folder / "corpus.jsonl").write_text("\n".join(rows))
    asked = [{"id": "q1", "text": "leaking hose"}, {"id": "q2", "text": "battery flat no start"}]
    (folder / "queries.jsonl").write_text("\n".join(map(json.dumps, asked)))
    (folder / "qrels.tsv").write_text("q1\td1\t1\nq2\td2\t1\n")
    return folder


def test_a_judged_collection_is_measured_with_the_keys_that_others_read(empty, collection):
    told = empty.told("measure", "--collection", str(collection), "--json")
    assert set(told) == RANKING
    assert (told["ndcg@10"], told["hit@1"], told["queries"]) == (1.0, 1.0, 2)
    text = empty.said("measure", "--collection", str(collection))
    assert "ndcg@10: 1.0000" in text
    assert "queries: 2\n" in text


def test_a_judgement_that_is_no_row_names_its_line(empty, collection):
    (collection / "qrels.tsv").write_text("q1\td1\t1\nq2 d2 1\n")
    assert "qrels.tsv, line 2" in empty.said("measure", "--collection", str(collection), code=1)


@pytest.mark.parametrize("name", ["corpus.jsonl", "qrels.tsv"])
def test_a_collection_with_a_file_missing_is_told_in_one_line(empty, collection, name):
    (collection / name).unlink()
    text = empty.said("measure", "--collection", str(collection), code=1)
    assert name in text
    assert text.startswith("Error: ")


def test_questions_with_a_known_cause_are_measured(terminal, tmp_path):
    file, details = tmp_path / "q.jsonl", tmp_path / "d.csv"
    asked = [{"id": "q1", "ask": "no crank no click", "cause": "starter_worn"}]
    file.write_text("\n".join(map(json.dumps, asked)))
    told = terminal.told("measure", "--queries", str(file), "--json", "--details", str(details))
    assert set(told) == CAUSES
    assert told["queries"] == 1
    head, row = rows_of(details)
    assert head == ["id", "cause", "rank"]
    assert row[:2] == ["q1", "starter_worn"]
    assert "hit@1 interval: " in terminal.said("measure", "--queries", str(file))


def test_details_without_questions_are_refused(terminal, tmp_path):
    text = terminal.said("measure", "--details", str(tmp_path / "d.csv"), code=2)
    assert "expected --queries FILE" in text


def test_the_shops_own_cases_are_measured_each_by_those_before_it(terminal):
    told = terminal.told("measure", "--json")
    assert told["queries"] == 2
    assert told["seen_before"] == {"queries": 0}
    text = terminal.said("measure")
    assert "2 closed jobs were asked again" in text
    assert "seen before:\n  queries: 0" in text


def test_an_empty_shop_has_nothing_to_measure(empty):
    assert empty.told("measure", "--json")["queries"] == 0


@pytest.fixture
def records(tmp_path):
    folder = tmp_path / "records"
    folder.mkdir()
    rows = [
        {"id": f"s{i}", "cause": f"c{i % 3}", "findings": {"f": f"v{i % 3}"}} for i in range(12)
    ]
    (folder / "stored_cases.jsonl").write_text("\n".join(map(json.dumps, rows)))
    asked = [{"id": "q", "cause": "c1", "findings": {"f": "v1"}}]
    (folder / "queries.jsonl").write_text("\n".join(map(json.dumps, asked)))
    return folder


def test_structured_records_are_measured(empty, records):
    told = empty.told("measure", "--diagnosis", str(records), "--stored", "9", "--json")
    assert CAUSES | {"nll", "sure_share", "stored", "never_stored"} == set(told) - {"sure_right"}
    assert (told["hit@1"], told["stored"]) == (1.0, 9)
    assert "stored: 12\n" in empty.said("measure", "--diagnosis", str(records))


def test_a_number_of_records_without_records_is_refused(empty):
    assert "expected --diagnosis FOLDER" in empty.said("measure", "--stored", "9", code=2)


def test_learning_is_asked_for_with_a_collection_only():
    done = CliRunner().invoke(main, ["measure", "--learn"])
    assert done.exit_code == 2
    assert "--collection" in done.output
