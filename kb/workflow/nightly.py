"""When the shop is backed up by itself: once a night, by one process, whatever the clock does."""

from datetime import UTC, datetime, timedelta
from typing import Final

from kb.store.engine import Store
from kb.store.restore import BEGUN, DONE
from kb.store.unit_of_work import UnitOfWork

# The hour of the shop's clock from which a night's backup is due; a machine that was off makes it
# when it is on again (our choice: nobody works then).
HOUR: Final = 2
# A clock that is set forward must not bring two backups right after each other, as told by a clock
# that nobody sets (our choice).
LEAST_HOURS: Final = 12
# One that was begun and not done by then was cut off: another may begin (our choice).
GIVEN_UP: Final = timedelta(hours=3)


def is_due(now: datetime, last: datetime | None, *, hours_since: float | None) -> bool:
    """Say whether a backup is due.

    Parameters
    ----------
    now : datetime
        In the zone of the shop's clock.
    last : datetime or None
        When the last one was done, with a zone; None where none was.
    hours_since : float or None
        Hours since this process saw one done, by a clock that nobody sets; None where it saw none.
    """
    if hours_since is not None and hours_since < LEAST_HOURS:
        return False
    # A last one in the time to come: the clock was set back since, so it tells nothing.
    return last is None or last > now or last < _last_turn(now)


def _last_turn(now: datetime) -> datetime:
    """Return the last moment when the shop's clock showed the hour of the backup."""
    turn = now.replace(hour=HOUR, minute=0, second=0, microsecond=0, fold=0)
    return turn if turn <= now else turn - timedelta(days=1)


def last_done(unit: UnitOfWork) -> datetime | None:
    """Return when the last backup was done, None where none was or its moment cannot be read."""
    return _moment(unit.settings.get(DONE))


def claim(store: Store, now: datetime, *, seen: datetime | None, who: str) -> bool:
    """Take this turn's backup for this process; say whether no other took it.

    Parameters
    ----------
    store : Store
        The shop's.
    now : datetime
        With a zone.
    seen : datetime or None
        When the last backup was done, as this process read it before.
    who : str
        Stands in no history; the store asks it of every writer.
    """
    with store.write(who, now) as unit:
        begun, done = _moment(unit.settings.get(BEGUN)), last_done(unit)
        at_work = begun is not None and (done is None or begun > done)
        if done != seen or (at_work and begun is not None and abs(now - begun) < GIVEN_UP):
            return False
        unit.settings.set(BEGUN, _text(now))
        return True


def note_done(store: Store, now: datetime, *, who: str) -> None:
    """Note that a backup is done, so that no process makes another in this turn."""
    with store.write(who, now) as unit:
        unit.settings.set(DONE, _text(now))


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat()


def _moment(text: str | None) -> datetime | None:
    try:
        found = datetime.fromisoformat(text or "")
    except ValueError:
        return None
    return found if found.tzinfo is not None else None
