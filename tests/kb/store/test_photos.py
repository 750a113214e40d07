import pytest

from kb.errors import NotFoundError, StoreError
from kb.store.photo_files import StoredPhoto
from kb.store.photos import JobPhoto
from tests.factories import a_job
from tests.kb.store.other_process import NOW


def a_photo(letter="a"):
    return StoredPhoto(content_hash=letter * 64, media_type="image/jpeg", size_bytes=9)


@pytest.fixture
def with_jobs(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many((a_job("J1"), a_job("J2")), verb="open")
    return store


def test_photos_of_a_job_come_in_the_order_they_were_added_with_one_line_each(with_jobs):
    with with_jobs.write("Ines", NOW) as unit:
        unit.photos.add("J1", a_photo("b"), "fan")
        unit.photos.add("J1", a_photo("a"))
        unit.photos.add("J2", a_photo("b"))
    with with_jobs.read() as unit:
        assert unit.photos.of("J1") == (
            JobPhoto(content_hash="b" * 64, caption="fan"),
            JobPhoto(content_hash="a" * 64),
        )
        assert unit.photos.of("J2") == (JobPhoto(content_hash="b" * 64),)
        lines = [(row.who, row.verb, row.what) for row in unit.history.of("J1")]
        assert lines[1:] == [("Ines", "photo", "fan"), ("Ines", "photo", "")]
        assert unit.jobs.revision("J1") == 1
        assert unit.photos.get("b" * 64) == a_photo("b")


def test_a_photo_added_twice_is_there_once_unless_it_is_said_to_show_something_else(with_jobs):
    with with_jobs.write("Ines", NOW) as unit:
        for caption in ("fan", "fan", "", "relay"):
            unit.photos.add("J1", a_photo(), caption)
    with with_jobs.read() as unit:
        assert [row.caption for row in unit.photos.of("J1")] == ["fan", "relay"]
        assert len(unit.history.of("J1")) == 3


def test_a_photo_stays_when_the_job_is_written(with_jobs):
    with with_jobs.write("Ines", NOW) as unit:
        unit.photos.add("J1", a_photo())
        unit.jobs.save(a_job("J1", waits_for="fan"), verb="wait")
    with with_jobs.read() as unit:
        assert len(unit.photos.of("J1")) == 1


def test_a_photo_of_a_job_that_is_not_there_is_refused(with_jobs):
    with with_jobs.write("Ines", NOW) as unit, pytest.raises(NotFoundError, match="J404"):
        unit.photos.add("J404", a_photo())
    with with_jobs.read() as unit:
        with pytest.raises(NotFoundError, match="a photo of a job"):
            unit.photos.get("a" * 64)
        with pytest.raises(StoreError, match=r"Store\.write"):
            unit.photos.add("J1", a_photo())
