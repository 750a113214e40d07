import psycopg
from flask import Flask, url_for
from jinja2 import DictLoader
from sqlalchemy import Double, cast, event, literal, select
from typing_extensions import override

from kb.store.engine import begin, make_engine
from tests.made_once import KnownRule, KnownTemplates
from web.drawing import Drawing


def drawn(text, known, environment=Drawing):
    """Return a template of that text as a new site draws it."""
    site = environment(
        Flask(__name__), loader=DictLoader({"page.html": text}), bytecode_cache=known
    )
    return site.get_template("page.html").render()


class Uncompiling(Drawing):
    """Draws only what another site compiled."""

    @override
    def compile(self, *_, **__):
        raise AssertionError("compiled anew")


def test_a_template_that_changed_is_drawn_as_it_is_now():
    known = KnownTemplates()
    assert [drawn(text, known) for text in ("one", "two", "one")] == ["one", "two", "one"]


def test_a_template_that_is_the_same_is_compiled_once_for_all_sites():
    known = KnownTemplates()
    drawn("one", known)
    assert drawn("one", known, Uncompiling) == "one"


def address(rule, **values):
    """Return an address of a route as a new site writes it."""
    site = Flask(__name__)
    site.add_url_rule(rule, "page")
    with site.test_request_context():
        return url_for("page", **values)


def test_each_route_writes_its_own_addresses_in_every_site():
    for _ in range(2):
        assert address("/made/<name>", name="a b", q="1") == "/made/a%20b?q=1"
        assert address("/made/<int:name>", name=7) == "/made/7"
        assert address("/made/<name>/close", name="a") == "/made/a/close"


def test_a_route_is_compiled_once_for_all_sites():
    address("/once/<name>", name="a")
    known = len(KnownRule.known)
    assert address("/once/<name>", name="b") == "/once/b"
    assert len(KnownRule.known) == known


def databases(server):
    """Return the databases of tests that a server holds."""
    asked = "SELECT count(*) FROM pg_database WHERE datname LIKE 'shop%'"
    with psycopg.connect(host=server.folder, user="postgres", dbname="postgres") as connection:
        return connection.execute(asked).fetchone()


def test_of_the_databases_of_tests_that_ended_none_is_kept_but_the_last(postgres):
    for _ in range(3):
        with postgres.database():
            assert databases(postgres) in {(1,), (2,)}
        assert databases(postgres) == (1,)


def asked(url, statement):
    """Return a statement as a new store asks it, and whether it was compiled before."""
    said = []
    engine = make_engine(url)

    @event.listens_for(engine, "before_cursor_execute")
    def listen(connection, cursor, text, parameters, context, many):
        said.append((text, context.cache_hit.name == "CACHE_HIT"))

    with begin(engine, writes=False) as connection:
        connection.execute(statement)
    engine.dispose()
    return said[-1]


def test_a_statement_is_compiled_once_for_all_stores_on_one_engine(tmp_path):
    def ask(name):
        return asked(f"sqlite:///{tmp_path / name}", select(literal(1).label("asked_once_here")))

    (text, known), again = ask("a.db"), ask("b.db")
    assert not known
    assert again == (text, True)
    assert "asked_once_here" in text


def test_a_statement_is_written_for_each_engine_in_its_own_words(tmp_path, empty_postgres_url):
    number = select(cast(literal(1), Double).label("asked_of_both"))
    for _ in range(2):
        assert "AS DOUBLE)" in asked(f"sqlite:///{tmp_path / 'a.db'}", number)[0]
        assert "AS DOUBLE PRECISION)" in asked(empty_postgres_url, number)[0]
