"""The store and the fitted memory of one running program."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import cast

from flask import Flask, current_app

from kb.case.terms import Vocabulary, load_vocabulary
from kb.store.engine import Store, UnitOfWork, open_store
from kb.workflow.memory import Memory

# Until people sign in, every write from a page is the shop's own.
_WHO = "shop"


def init_app(app: Flask) -> None:
    """Open the store once; the memory follows its generation."""
    store = open_store(app.config["STORE_URL"])
    words = load_vocabulary()
    memory = Memory(
        store,
        words,
        altitude_m=float(app.config["ALTITUDE_M"]),
        folder=Path(app.config["HOME"]),
    )
    app.extensions["baybook"] = memory


def memory() -> Memory:
    """Return the memory of the running program."""
    return cast(Memory, current_app.extensions["baybook"])


def words() -> Vocabulary:
    """Return the trade's words."""
    return memory().words


def store() -> Store:
    """Return the store of the running program."""
    return memory().store


@contextmanager
def writing() -> Iterator[UnitOfWork]:
    """Commit all that one request writes, or nothing."""
    with store().write(_WHO, datetime.now(UTC)) as unit:
        yield unit


def today() -> date:
    """Return the shop's date."""
    return datetime.now().astimezone().date()
