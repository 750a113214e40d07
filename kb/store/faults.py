"""What went wrong with the database, and what a person can do about it."""

from typing import Final

from sqlalchemy.exc import DatabaseError

from kb.errors import StoreError

_ADVICE: Final = {
    "locked": "another program holds the database; try again",
    "full": "make room on the disk, then try again",
    "disk I/O": "make room on the disk, then try again",
    "readonly": "let this user write to the data folder",
    "malformed": "restore the last backup with baybook restore",
    "not a database": "restore the last backup with baybook restore",
}


def store_error(error: DatabaseError) -> StoreError:
    """Return what a person can do about an error of the database."""
    reason = str(error.orig)
    advice = next((text for word, text in _ADVICE.items() if word in reason), "run baybook doctor")
    return StoreError(f"nothing was saved; expected a sound database, got: {reason}; {advice}")
