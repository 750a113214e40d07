import errno

import pytest
from sqlalchemy.exc import DatabaseError

from kb.errors import NoRoomError
from kb.store.faults import no_room, no_such_job, store_error, taken


@pytest.mark.parametrize(
    ("reason", "advice"),
    [
        ("database is locked", "another program holds the database; try again"),
        ("attempt to write a readonly database", "let this user write"),
        ("file is not a database", "restore the last backup"),
        ("something never met", "run baybook doctor"),
    ],
)
def test_an_error_of_the_database_says_what_to_do_next(reason, advice):
    message = str(store_error(DatabaseError("select 1", None, Exception(reason))))
    assert message.startswith("nothing was saved; expected a sound database, got:")
    assert reason in message
    assert advice in message


@pytest.mark.parametrize("reason", ["database or disk is full", "No space left on device"])
def test_a_full_disk_is_told_apart_and_nothing_kept_before_is_lost(reason):
    error = store_error(DatabaseError("select 1", None, Exception(reason)))
    assert isinstance(error, NoRoomError)
    assert "nothing kept before is lost" in str(error)
    assert "make room on the disk" in str(error)


@pytest.mark.parametrize(("number", "full"), [(errno.ENOSPC, True), (errno.EACCES, False)])
def test_a_file_without_room_is_told_apart(number, full):
    assert (no_room(OSError(number, "as the machine says")) is not None) is full


def test_an_unknown_id_and_a_number_that_is_taken_say_what_to_do_next():
    assert str(no_such_job("J9")) == (
        "expected the id of a job, got 'J9'; look at the list of jobs"
    )
    assert "expected an invoice that no other job has, got '17'" in str(taken("invoice", "17"))
