from kb.workflow import rebuilding
from kb.workflow.kept_features import Making
from tests.kb.workflow.test_close import closed, opened


def test_what_is_learned_says_from_how_many_jobs(shop, monkeypatch):
    monkeypatch.setattr(rebuilding, "MOST_LEARNED", 2)
    monkeypatch.setattr(rebuilding, "MOST_CALIBRATED", 1)
    jobs = [closed(shop, opened(shop)) for _ in range(3)]
    with shop.store.read() as unit:
        found = rebuilding.material(unit, Making(words=shop.words))
    assert (found.sample.taken, found.sample.among) == (2, 3)
    assert len(found.cases) == 2
    assert [job.id for job in found.newest] == [jobs[2].id]
    samples = rebuilding.lessons(found, Making(words=shop.words)).samples
    assert samples["chances"].taken == 1
