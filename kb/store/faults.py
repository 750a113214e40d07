"""What went wrong with the database, and what a person can do about it."""

from collections.abc import Sequence
from typing import Final

from sqlalchemy.exc import DatabaseError

from kb.errors import ConflictError, NotFoundError, StoreError

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
