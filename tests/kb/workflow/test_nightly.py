from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from kb.workflow.nightly import claim, is_due, last_done, note_done

BERLIN = ZoneInfo("Europe/Berlin")
HOUR = timedelta(hours=1)


def at(day, hour, minute=0, zone=BERLIN):
    return datetime(2026, 5, day, hour, minute, tzinfo=zone)


def test_the_first_backup_is_due_at_once():
    assert is_due(at(4, 15), None, hours_since=None)


@pytest.mark.parametrize(
    ("now", "last", "due"),
    [
        (at(4, 1, 59), at(3, 2), False),
        (at(4, 2), at(3, 2), True),
        (at(4, 2, 20), at(4, 2, 1), False),
        # Off at night, on again in the morning.
        (at(4, 8), at(3, 2), True),
        # Made by hand in the evening: the night's own is due all the same.
        (at(4, 2), at(3, 19), True),
        # The clock was set back: what was done in the time to come tells nothing.
        (at(4, 9), at(5, 2), True),
    ],
)
def test_a_backup_is_due_once_a_night(now, last, due):
    assert is_due(now, last, hours_since=None) is due


def test_a_clock_that_is_set_forward_brings_no_second_one_soon():
    assert not is_due(at(9, 9), at(4, 2), hours_since=0.1)
    assert not is_due(at(9, 9), at(4, 2), hours_since=11.9)
    assert is_due(at(9, 9), at(4, 2), hours_since=12)


class Machine:
    """A machine that runs on while its clock is set: looks four times an hour."""

    def __init__(self, zone):
        self.zone, self.true, self.off_by = zone, datetime(2026, 3, 20, tzinfo=UTC), timedelta()
        self.last, self.since, self.made = None, None, []

    def run(self, hours):
        for _ in range(hours * 4):
            self.true += timedelta(minutes=15)
            now = (self.true + self.off_by).astimezone(self.zone)
            hours_since = None if self.since is None else (self.true - self.since) / HOUR
            if is_due(now, self.last, hours_since=hours_since):
                self.made.append(self.true)
                self.last, self.since = now, self.true

    def gaps(self):
        pairs = zip(self.made, [*self.made[1:], self.true], strict=True)
        return [(after - before) / HOUR for before, after in pairs]


@pytest.mark.parametrize(
    "zone", ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "UTC"]
)
def test_a_year_with_its_changes_of_the_clock_brings_one_backup_a_night(zone):
    machine = Machine(ZoneInfo(zone))
    machine.run(24 * 370)
    assert 370 <= len(machine.made) <= 371
    assert all(22.9 <= gap <= 25.1 for gap in machine.gaps()[2:-1])


@pytest.mark.parametrize("hour", range(0, 24, 5))
@pytest.mark.parametrize(
    "jump",
    [
        timedelta(days=1), timedelta(days=-1), timedelta(hours=1), timedelta(hours=-1),
        timedelta(minutes=-20), timedelta(days=-20_500), timedelta(days=4_300),
    ],
    ids=["day on", "day back", "hour on", "hour back", "20 min back", "to 1970", "to 2038"],
)  # fmt: skip
def test_a_clock_that_jumps_and_is_put_right_neither_skips_nor_doubles(hour, jump):
    machine = Machine(BERLIN)
    machine.run(72 + hour)
    machine.off_by = jump
    machine.run(31)
    machine.off_by = timedelta()
    machine.run(96)
    # Never two within half a day, never a day and a half without one.
    assert all(gap >= 12 for gap in machine.gaps()[:-1])
    assert max(machine.gaps()) <= 36.1


# --- one process --------------------------------------------------------------------------------

NOW = datetime(2026, 5, 4, 2, tzinfo=UTC)


def seen(store):
    with store.read() as unit:
        return last_done(unit)


def test_one_of_those_who_saw_the_same_takes_the_turn(store):
    assert claim(store, NOW, seen=None, who="x")
    assert not claim(store, NOW + timedelta(minutes=5), seen=None, who="y")
    note_done(store, NOW + timedelta(minutes=6), who="x")
    assert seen(store) == NOW + timedelta(minutes=6)
    assert not claim(store, NOW + timedelta(minutes=7), seen=None, who="y")
    assert claim(store, NOW + timedelta(days=1), seen=seen(store), who="y")


@pytest.mark.parametrize("later", [timedelta(hours=3), timedelta(days=-2)])
def test_one_that_was_cut_off_is_begun_again(store, later):
    assert claim(store, NOW, seen=None, who="x")
    assert not claim(store, NOW + timedelta(hours=2), seen=None, who="x")
    assert claim(store, NOW + later, seen=None, who="x")


@pytest.mark.parametrize("text", ["", "yesterday", "2026-05-04T02:00:00"])
def test_a_moment_that_cannot_be_read_is_none(store, text):
    with store.write("x", NOW) as unit:
        unit.settings.set("backup done", text)
    assert seen(store) is None
    assert claim(store, NOW, seen=None, who="x")


def test_who_makes_a_backup_writes_no_job_and_no_history(store):
    before = store.generation()
    claim(store, NOW, seen=None, who="x")
    note_done(store, NOW, who="x")
    assert store.generation() == before
    with store.read() as unit:
        assert unit.history.last_seq() == 0
