"""Counting a week beside the request that first asks for it, so that its page opens at once."""

from collections.abc import Callable
from threading import Lock, Thread
from typing import Final, cast

from flask import current_app

from kb.case.iso_week import IsoWeek
from kb.workflow.review import Review, kept_review, review_week, whole_review
from web import db
from web.auth import now, person

# Seconds that a page waits for its week before it says that it is being counted: a page opens in
# under a second whatever the shop's size (our choice).
PATIENCE_S: Final = 0.6

# What went wrong beside a request, by week, for the next one to tell.
_Failures = dict[str, Exception]


def counted(week: IsoWeek) -> Review | None:
    """Return the review of a week, None while it is being counted.

    Raises
    ------
    Exception
        What stopped the counting, now or beside the request before this one.
    """
    failures, turn = _failures(), _turn()
    if failure := failures.pop(str(week), None):
        raise failure
    memory, who, at = db.memory(), person().name, now()
    if (known := whole_review(memory.store, week, at)) is not None:
        return known
    found: list[Review | None] = []

    def count() -> None:
        # One week at a time: whoever asks for many gets them one after the other.
        if not turn.acquire(blocking=False):
            found.append(kept_review(memory.store, week))
            return
        try:
            found.append(review_week(memory, week, who=who, now=at))
        except Exception as error:  # noqa: BLE001 - told by the request that waits, or the next
            failures[str(week)] = error
        finally:
            turn.release()

    if not _done_in_time(count):
        return kept_review(memory.store, week)
    if failure := failures.pop(str(week), None):
        raise failure
    return found[0]


def _failures() -> _Failures:
    return cast(_Failures, current_app.extensions.setdefault("baybook_week_failures", {}))


def _turn() -> Lock:
    return cast(Lock, current_app.extensions.setdefault("baybook_week_turn", Lock()))


def _done_in_time(work: Callable[[], None]) -> bool:
    """Run work beside the request; say whether it was done while the request waited."""
    thread = Thread(target=work, name="week", daemon=True)
    thread.start()
    thread.join(current_app.config["WEEK_PATIENCE_S"])
    return not thread.is_alive()
