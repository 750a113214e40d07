from dataclasses import replace

from kb.case.model import Origin
from kb.workflow import calibrating
from tests.kb.workflow.test_close import closed, opened


def test_only_the_newest_own_jobs_are_asked_each_as_it_was_first_written_up(shop, monkeypatch):
    monkeypatch.setattr(calibrating, "MOST_CALIBRATED", 2)
    seen = []
    monkeypatch.setattr(calibrating, "calibrate", lambda pairs, words, parts: seen.extend(pairs))
    jobs = [closed(shop, opened(shop)) for _ in range(4)]
    jobs[3] = replace(jobs[3], origin=Origin.ANOTHER_SHOP)
    calibrating.calibrated(jobs, shop.words, altitude_m=0.0, parts={})
    assert [pair.stored.case for pair in seen] == [jobs[1].id, jobs[2].id]
    assert all(pair.asked.told == "" for pair in seen)
