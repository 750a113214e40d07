"""The shop's data folder, and what a command opens there."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from getpass import getuser
from pathlib import Path

from platformdirs import user_data_path

from kb.case.terms import Vocabulary, load_vocabulary
from kb.errors import ParseError
from kb.store.backup_files import FOLDER
from kb.store.engine import Store, default_url, open_store
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.memory import Memory
from kb.workflow.words import words_of


def home_folder() -> Path:
    """Return the folder of the shop's data: ``BAYBOOK_HOME`` or the platform's data folder."""
    return Path(os.environ.get("BAYBOOK_HOME") or user_data_path("baybook"))


def store_url(home: Path) -> str:
    """Return the database: ``BAYBOOK_DB`` or SQLite inside the data folder."""
    return os.environ.get("BAYBOOK_DB") or default_url(home)


def backups_folder(home: Path) -> Path:
    """Return the folder of the shop's backups: ``BAYBOOK_BACKUPS`` or one in the data folder."""
    return Path(os.environ.get("BAYBOOK_BACKUPS") or home / FOLDER)


def altitude_m() -> float:
    """Return the shop's altitude, ``BAYBOOK_ALTITUDE_M``; sea level unless told otherwise.

    Raises
    ------
    ParseError
        If it is no number.
    """
    typed = os.environ.get("BAYBOOK_ALTITUDE_M") or "0"
    try:
        return float(typed)
    except ValueError as error:
        raise ParseError(
            f"expected BAYBOOK_ALTITUDE_M in metres, got '{typed}'; set it to a number like 1600",
            text=typed,
        ) from error


def shop_store() -> Store:
    """Return the shop's store."""
    home = home_folder()
    return open_store(store_url(home), home=home)


def shop_words(store: Store) -> Vocabulary:
    """Return the trade's words with the shop's own laid over them."""
    with store.read() as unit:
        return words_of(unit)


def shop_memory(store: Store) -> Memory:
    """Return the memory of the shop's closed jobs."""
    return Memory(store, load_vocabulary(), altitude_m=altitude_m(), folder=home_folder())


@contextmanager
def writing(store: Store) -> Iterator[UnitOfWork]:
    """Commit all that one command writes, or nothing; the history names the machine's user."""
    with store.write(getuser(), datetime.now(UTC)) as unit:
        yield unit


def today() -> date:
    """Return the shop's date."""
    return datetime.now().astimezone().date()
