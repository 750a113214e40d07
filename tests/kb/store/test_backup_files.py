import os
from datetime import UTC, datetime, timedelta

import pytest

from kb.store.backup_files import (
    DAYS,
    LATEST,
    MONTHS,
    WEEKS,
    BackupFile,
    backups_in,
    free_name,
    newest_backup,
    read_name,
    superfluous,
    take_name,
    write_whole,
)

SHOP = "0123456789abcdef0123456789abcdef"
START = datetime(2026, 1, 1, 2, tzinfo=UTC)


def made(folder, at, shop=SHOP, **known):
    path = free_name(folder, shop, at, **known)
    path.touch()
    return path


def row(folder, at):
    found = read_name(free_name(folder, SHOP, at))
    assert isinstance(found, BackupFile)
    return found


def test_a_name_says_the_shop_and_the_moment_in_utc(tmp_path):
    path = made(tmp_path, datetime.fromisoformat("2026-05-04T02:10:00+02:00"))
    assert path.name == "baybook-01234567-20260504-001000Z.zip"
    found = read_name(path)
    assert found is not None
    assert found.made == datetime(2026, 5, 4, 0, 10, tzinfo=UTC)
    assert (found.shop, found.damaged) == ("01234567", False)


def test_two_of_one_second_get_two_names_in_their_order(tmp_path):
    paths = [made(tmp_path, START) for _ in range(11)]
    assert len(set(paths)) == 11
    assert [found.path for found in backups_in(tmp_path)] == paths


@pytest.mark.parametrize(
    "name",
    [
        "notes.txt",
        "baybook-01234567-20260504-001000Z.zip.part",
        "baybook-01234567-20269904-001000Z.zip",
        "baybook-nothexno-20260504-001000Z.zip",
    ],
)
def test_other_files_are_no_backups(tmp_path, name):
    (tmp_path / name).touch()
    assert backups_in(tmp_path) == ()


def test_the_newest_is_a_sound_one_of_the_shop(tmp_path):
    assert newest_backup(tmp_path / "none") is None
    sound = made(tmp_path, START)
    made(tmp_path, START + timedelta(days=1), damaged=True)
    made(tmp_path, START + timedelta(days=2), shop="f" * 32)
    newest = newest_backup(tmp_path, SHOP)
    assert newest is not None
    assert newest.path == sound


def kept_after(folder, moments):
    """Return the moments that are left when a backup is made at each, one after the other."""
    rows = []
    for moment in moments:
        rows.append(row(folder, moment))
        gone = superfluous(rows, now=moment)
        assert rows[-1] not in gone
        rows = [found for found in rows if found not in gone]
    return [found.made for found in rows]


def test_a_backup_a_night_leaves_seven_days_four_weeks_and_twelve_months(tmp_path):
    nights = [START + timedelta(days=night) for night in range(800)]
    left = kept_after(tmp_path, nights)
    assert set(nights[-DAYS:]) <= set(left)
    assert len({moment.isocalendar()[:2] for moment in left}) >= WEEKS
    # Each of the last twelve months by its last night.
    months = sorted({(moment.year, moment.month) for moment in nights})[-MONTHS:]
    ends = [max(m for m in nights if (m.year, m.month) == month) for month in months]
    assert set(ends) <= set(left)
    assert len(left) <= DAYS + WEEKS + MONTHS


def test_a_long_time_without_backups_takes_nothing_away(tmp_path):
    nights = [START + timedelta(days=night) for night in range(7)]
    later = START + timedelta(days=900)
    assert set(kept_after(tmp_path, [*nights, later])) >= {later, *nights[-6:]}


def test_many_of_one_day_leave_the_latest(tmp_path):
    moments = [START + timedelta(minutes=at) for at in range(9)]
    assert kept_after(tmp_path, moments) == moments[-LATEST:]


@pytest.mark.parametrize(
    "wrong", [datetime(2038, 2, 1, tzinfo=UTC), datetime(1970, 1, 2, tzinfo=UTC)]
)
def test_a_clock_that_was_wrong_for_a_week_takes_neither_the_last_before_nor_the_first_after(
    tmp_path, wrong
):
    good = [START + timedelta(days=night) for night in range(7)]
    bad = [wrong + timedelta(days=night) for night in range(8)]
    after = START + timedelta(days=15)
    left = kept_after(tmp_path, [*good, *bad, after])
    # Made while the clock was wrong, each holds more than those before: these may stand for them.
    assert {good[-1], after, bad[-1]} <= set(left)


def test_a_finished_file_takes_its_name_only_where_it_is_free(tmp_path, monkeypatch):
    new, there = tmp_path / "new", tmp_path / "there"
    new.write_text("new")
    assert take_name(new, there)
    other = tmp_path / "other"
    other.write_text("other")
    assert not take_name(other, there)

    def no_links(*_):
        raise OSError(95, "not supported")

    monkeypatch.setattr(os, "link", no_links)
    assert not take_name(other, there)
    assert there.read_text() == "new"
    assert take_name(other, tmp_path / "free")
    assert (tmp_path / "free").read_text() == "other"


def test_a_small_file_is_written_whole_and_for_its_owner_alone(tmp_path):
    file = tmp_path / "small"
    (tmp_path / ".small.part").write_text("left by a kill")
    for text in ("first", "second"):
        write_whole(file, text)
        assert file.read_text() == text
    assert file.stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["small"]
