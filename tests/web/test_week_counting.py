import threading

import pytest

from kb.case.iso_week import IsoWeek
from kb.workflow import review
from web import db


@pytest.fixture
def newest():
    """Return the newest week that is over."""
    return IsoWeek.last_whole(db.today())


class Slow:
    """Counts nothing, and only once it may; raises what it was given."""

    def __init__(self):
        self.may, self.asked, self.wrong = threading.Event(), [], None

    def topic(self, seen):
        self.asked.append(seen.week)
        assert self.may.wait(30)
        if self.wrong:
            raise self.wrong
        return ()


@pytest.fixture
def slow(site, monkeypatch):
    """Let the week be counted only when told, and the page wait but a moment."""
    made = Slow()
    monkeypatch.setattr(review, "TOPICS", (made.topic,))
    site.app.config["WEEK_PATIENCE_S"] = 0.05
    yield made
    made.may.set()


def threads():
    return [thread for thread in threading.enumerate() if thread.name == "week"]


def joined():
    for thread in threads():
        thread.join(30)


def test_a_page_does_not_wait_for_a_slow_week_and_comes_again(site, slow, newest):
    answer = site.client.get("/week")
    assert answer.status_code == 200
    assert "being counted right now" in answer.text
    assert answer.headers["Refresh"] == "1"
    again = site.client.get("/week")
    assert "being counted right now" in again.text
    slow.may.set()
    joined()
    done = site.client.get("/week")
    assert "Jobs closed: 0" in done.text
    assert "Refresh" not in done.headers
    assert slow.asked == [newest]


def test_a_counted_week_needs_no_thread(site, slow):
    slow.may.set()
    site.app.config["WEEK_PATIENCE_S"] = 30
    site.page("/week")
    site.app.config["WEEK_PATIENCE_S"] = 0
    assert "Jobs closed: 0" in site.page("/week")
    assert threads() == []


def test_what_stops_the_counting_is_told_once_and_the_week_is_free_again(site, slow):
    slow.wrong = ZeroDivisionError("no such week")
    site.client.get("/week")
    slow.may.set()
    joined()
    assert site.client.get("/week").status_code == 500
    slow.wrong = None
    site.app.config["WEEK_PATIENCE_S"] = 30
    assert "Jobs closed: 0" in site.page("/week")


def test_who_asks_for_many_weeks_has_them_counted_one_after_the_other(site, slow, newest):
    for ago in range(1, 9):
        text = site.page(f"/week?week={newest.shifted(-ago)}")
        assert "being counted right now" in text
    assert slow.asked == [newest.shifted(-1)]
    slow.may.set()
    joined()
    site.app.config["WEEK_PATIENCE_S"] = 30
    assert "Jobs closed: 0" in site.page(f"/week?week={newest.shifted(-2)}")
    assert slow.asked == [newest.shifted(-1), newest.shifted(-2)]
