"""What went wrong with the database, and what a person can do about it."""

import errno
from collections.abc import Sequence
from typing import Final

from sqlalchemy.exc import DatabaseError, DataError

from kb.errors import (
    ConflictError,
    KBError,
    NoRoomError,
    NotFoundError,
    ParseError,
    StoreError,
)

_UNREACHED: Final = "start the database server, look at BAYBOOK_DB, then try again"
_ADVICE: Final = {
    "locked": "another program holds the database; try again",
    "disk I/O": "make room on the disk, then try again",
    "readonly": "let this user write to the data folder",
    "malformed": "restore the last backup with baybook restore",
    "not a database": "restore the last backup with baybook restore",
    # PostgreSQL's words; a database that is not there before a server that is not.
    'FATAL:  database "': "make the database with createdb, or look at BAYBOOK_DB",
    "lock timeout": "another program holds the database; try again",
    "read-only": "let this user write to the database",
    "permission denied": "let this user write to the database",
    "connection to server": _UNREACHED,
    "closed the connection": _UNREACHED,
    "terminating connection": _UNREACHED,
    "connection is lost": _UNREACHED,
}


# How SQLite names a write that found no room, and what PostgreSQL passes on from its machine.
_NO_ROOM: Final = frozenset({"SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_IOERR_SHMSIZE"})
_NO_ROOM_WORDS: Final = ("disk is full", "No space left on device")
# A full disk, a used-up share of it, and a limit on the size of files.
_NO_ROOM_NUMBERS: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


def no_room(error: OSError) -> NoRoomError | None:
    """Return what a person can do where a file found no room, None for another error."""
    if error.errno not in _NO_ROOM_NUMBERS:
        return None
    return NoRoomError(
        f"nothing was saved, and nothing kept before is lost; expected room on the disk, got: "
        f"{error.strerror}; make room on the disk, then send it again"
    )


def store_error(error: DatabaseError) -> KBError:
    """Return what a person can do about an error of the database.

    That of a value which no column holds (PostgreSQL keeps no NUL) is the typed text's.
    """
    # Further lines may repeat what was written.
    reason = str(error.orig).partition("\n")[0]
    if isinstance(error, DataError):
        return ParseError("expected words and numbers, got a sign or a size that cannot be stored")
    named = getattr(error.orig, "sqlite_errorname", "")
    if named in _NO_ROOM or any(words in reason for words in _NO_ROOM_WORDS):
        return NoRoomError(
            f"nothing was saved, and nothing kept before is lost; expected room on the disk, got: "
            f"{reason}; make room on the disk, then send it again"
        )
    advice = next((text for word, text in _ADVICE.items() if word in reason), "run baybook doctor")
    return StoreError(f"nothing was saved; expected a sound database, got: {reason}; {advice}")


def is_missing(error: DatabaseError) -> bool:
    """Say whether a server answered that it has no such database."""
    return 'FATAL:  database "' in str(error.orig)


def damaged_jobs(ids: Sequence[str]) -> StoreError:
    """Return the error of jobs that changed on the disk since they were written."""
    named = ", ".join(ids[:5]) + (f" and {len(ids) - 5} more" if len(ids) > 5 else "")
    return StoreError(
        f"expected {named} as written, got a record that changed on the disk; it is not shown, so "
        "that nobody trusts it; run baybook doctor, then baybook restore with the last good backup"
    )


def no_such_job(job_id: str) -> NotFoundError:
    """Return the error of an id that no job has."""
    return NotFoundError(f"expected the id of a job, got '{job_id}'; look at the list of jobs")


def taken(what: str, value: str) -> ConflictError:
    """Return the error of an id or an invoice number that another job has."""
    return ConflictError(
        f"expected an {what} that no other job has, got '{value}'; open that job, or take another"
    )
