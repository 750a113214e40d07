"""What Flask, Jinja and SQLAlchemy make for each new site or store of a test, made once a process.

Each test has a store and a site of its own; in all of them the same statements, templates and
routes are compiled. A shop's server compiles them once in its life, which took most of the tests'
time. Everything is known by what it is made from, so that what was changed is compiled anew.
"""

from typing import Any

from flask import Flask
from jinja2.bccache import Bucket, BytecodeCache
from sqlalchemy import Engine, create_engine
from typing_extensions import override
from werkzeug.routing import Rule

from kb.store import engine as engines


class KnownStatements(dict[Any, Any]):
    """Compiled statements by text; stores of one kind of database share them."""

    @staticmethod
    def _key(asked: tuple[Any, ...]) -> tuple[Any, ...]:
        """Return the key without what differs from store to store of one kind."""
        dialect, *statement = asked
        return (type(dialect), dialect.server_version_info, *statement)

    @override
    def get(self, key: Any, default: Any = None) -> Any:
        return super().get(self._key(key), default)

    @override
    def __setitem__(self, key: Any, value: Any) -> None:
        super().__setitem__(self._key(key), value)


class KnownTemplates(BytecodeCache):
    """Compiled templates by name and text."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str], Any] = {}

    @override
    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self._known.get((bucket.key, bucket.checksum))

    @override
    def dump_bytecode(self, bucket: Bucket) -> None:
        self._known[bucket.key, bucket.checksum] = bucket.code


class KnownRule(Rule):
    """A route that shares the function that writes its addresses with its like in other sites.

    Should Werkzeug rename the method, drop this class: making a site only takes longer then.
    """

    known: dict[tuple[object, ...], Any] = {}  # noqa: RUF012

    @override
    def _compile_builder(self, append_unknown: bool = True) -> Any:
        key = (self.rule, tuple(self._trace), repr(self.defaults), append_unknown)
        if key not in self.known:
            self.known[key] = super()._compile_builder(append_unknown)
        return self.known[key]


def make_once() -> None:
    """Let all sites and stores of this process share what is the same for all."""
    Flask.url_rule_class = KnownRule
    Flask.jinja_options = Flask.jinja_options | {"bytecode_cache": KnownTemplates()}
    statements = KnownStatements()

    def known_engine(*args: Any, **settings: Any) -> Engine:
        made = create_engine(*args, **settings)
        made.update_execution_options(compiled_cache=statements)
        return made

    engines.create_engine = known_engine  # type: ignore[attr-defined]
