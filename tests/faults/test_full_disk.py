"""A disk without room: nothing is half saved, pages are read, writing goes on once there is room."""

import errno
import os
import re
import resource
import shutil
import signal
import subprocess
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

import pytest

from kb.errors import NoRoomError
from kb.store.engine import default_url, open_store
from kb.store.faults import no_room
from tests.factories import a_picture
from tests.web.conftest import Site

LONG = "no crank, no click; " * 100


@contextmanager
def no_file_grows(most):
    """Let no file of this process grow past ``most`` bytes."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    # Without a handler the signal of that limit ends the process.
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)


def fill(site, most=2000):
    """Open jobs until one is refused; return the refusal and the jobs that were acknowledged."""
    opened: list[str] = []
    token = site.token()
    for n in range(most):
        form = {"csrf_token": token, "text": f"{LONG} {n}", "form_id": f"{n:032x}"}
        answer = site.client.post("/jobs", data={**form, "action": "open"})
        if answer.status_code != 302:
            return answer, opened
        opened.append(answer.location.rsplit("/", 1)[1])
    raise AssertionError(f"expected a refusal within {most} jobs")


def assert_said(answer, text):
    """The page says that nothing was saved or lost, shows what was typed, and can send it again."""
    assert answer.status_code == 507, answer.text
    assert "Not saved: the disk is full" in answer.text
    assert "nothing was saved, and nothing kept before is lost" in answer.text
    assert "make room on the disk" in answer.text
    assert text in answer.text
    assert "Send it again" in answer.text


def sent_again(site, answer, path):
    """Press the button of that page."""
    pairs = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', answer.text)
    assert f'action="{path}"' in answer.text
    return site.client.post(path, data=dict(pairs))


def assert_whole(site, jobs):
    with open_store(default_url(site.home)) as store, store.read() as unit:
        assert unit.jobs.verify_hashes() == ()
        assert set(jobs) <= set(unit.jobs.ids())


@pytest.mark.slow
def test_where_files_cannot_grow_nothing_is_half_saved_and_writing_goes_on_later(site):
    first = site.opened()
    sizes = [file.stat().st_size for file in site.home.glob("baybook.db*")]
    with no_file_grows(max(sizes) + 60_000):
        answer, opened = fill(site)
        assert_said(answer, LONG.strip())
        assert opened
        for path in ("/", f"/job/{first}", "/case/S1", "/find?q=no+crank", "/week"):
            site.page(path)
    again = sent_again(site, answer, "/jobs")
    assert again.status_code == 302
    assert_whole(site, [first, *opened, again.location.rsplit("/", 1)[1]])


def test_a_photo_without_room_is_not_kept_and_leaves_no_half_file(site):
    job, picture = site.opened(), BytesIO(a_picture(size=(400, 300)))
    with no_file_grows(300):
        answer = site.client.post(
            f"/job/{job}/photo",
            data={"csrf_token": site.token(), "photo": (picture, "p.jpg")},
        )
    assert answer.status_code == 507
    assert "Pictures cannot wait here" in answer.text
    assert [file for file in (site.home / "photos").rglob("*") if file.is_file()] == []
    assert site.with_photo(job)


def test_a_small_picture_is_shown_though_it_cannot_be_kept(site):
    photo = site.with_photo(site.opened())
    with no_file_grows(100):
        answer = site.client.get(f"/photo/{photo}?size=small")
    assert answer.status_code == 200
    assert answer.data.startswith(b"\xff\xd8")
    kept = [file.name for file in (site.home / "photos").rglob("*") if file.is_file()]
    assert kept == [f"{photo}.jpg"]


@pytest.fixture
def small_disk(tmp_path):
    """Return a disk of 3 MB in memory; skipped where this user may not mount one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = shutil.which("mount")
    command = [mount or "mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(folder)]
    if mount is None or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a disk")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.slow
def test_on_a_full_disk_nothing_is_half_saved_and_writing_goes_on_once_there_is_room(small_disk):
    site = Site(small_disk)
    try:
        room = small_disk / "something else"
        room.write_bytes(os.urandom(500_000))
        answer, opened = fill(site)
        assert_said(answer, LONG.strip())
        for path in ("/", f"/job/{opened[0]}", "/case/S1", "/find?q=no+crank", "/week"):
            site.page(path)
        room.unlink()
        again = sent_again(site, answer, "/jobs")
        assert again.status_code == 302, again.text
        assert_whole(site, [*opened, again.location.rsplit("/", 1)[1]])
    finally:
        site.close()


def test_only_errors_about_room_say_that_the_disk_is_full():
    full = no_room(OSError(errno.ENOSPC, "No space left on device"))
    assert isinstance(full, NoRoomError)
    assert "No space left on device" in str(full)
    assert no_room(OSError(errno.EACCES, "Permission denied")) is None


def test_another_error_of_a_file_is_a_fault_like_any(site, monkeypatch):
    photo = site.with_photo(site.opened())
    monkeypatch.setattr(
        Path, "read_bytes", lambda _: (_ for _ in ()).throw(PermissionError(13, "x"))
    )
    answer = site.client.get(f"/photo/{photo}")
    assert answer.status_code == 500
    assert "Something broke" in answer.text
