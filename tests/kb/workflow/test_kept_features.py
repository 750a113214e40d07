from dataclasses import replace
from functools import reduce

import pytest

from kb.case.model import JobState
from kb.retrieval.feature_table import FeatureTable
from kb.workflow import kept_features
from kb.workflow.kept_features import FEATURES, Making, features_now
from kb.workflow.suggest import witness_features
from tests.kb.retrieval.test_feature_table import same
from tests.kb.workflow.conftest import NOW
from tests.kb.workflow.test_close import closed, opened


@pytest.fixture
def made(monkeypatch):
    """Return the ids of the jobs whose features are made, as they are."""
    ids = []
    plain = witness_features

    def seen(job, words, altitude_m):
        ids.append(job.id)
        return plain(job, words, altitude_m)

    monkeypatch.setattr(kept_features, "witness_features", seen)
    return ids


def now(shop, folder):
    with shop.store.read() as unit:
        chunks = features_now(unit, Making(words=shop.words, folder=folder))
    return reduce(FeatureTable.with_others, chunks, FeatureTable.of(()))


def test_only_what_changed_is_made_again(shop, tmp_path, made):
    first, second = closed(shop, opened(shop)), closed(shop, opened(shop))
    now(shop, tmp_path)
    assert made == [first.id, second.id]
    made.clear()
    third = closed(shop, opened(shop))
    with shop.store.write("Ines", NOW) as unit:
        unit.jobs.save(replace(first, lines=("squeals",)), verb="edit", what="lines")
    found = now(shop, tmp_path)
    assert sorted(made) == sorted([first.id, third.id])
    assert same(found, now(shop, None))
    made.clear()
    now(shop, tmp_path)
    assert made == []


def test_a_case_that_is_gone_is_left_out(shop, tmp_path, made):
    first, second = closed(shop, opened(shop)), closed(shop, opened(shop))
    now(shop, tmp_path)
    with shop.store.write("Ines", NOW) as unit:
        unit.jobs.save(replace(first, closing=None, state=JobState.OPEN), verb="undo", what="close")
    assert now(shop, tmp_path).cases == (second.id,)


def test_many_are_read_at_once(shop, tmp_path, made, monkeypatch):
    monkeypatch.setattr(kept_features, "_MOST_ASKED", 1)
    ids = [closed(shop, opened(shop)).id for _ in range(3)]
    assert list(now(shop, tmp_path).cases) == ids
    closed(shop, opened(shop))
    closed(shop, opened(shop))
    assert len(now(shop, tmp_path)) == 5
    assert len(made) == 5


def test_a_file_that_is_not_what_was_kept_is_made_again(shop, tmp_path, made):
    closed(shop, opened(shop))
    first = now(shop, tmp_path)
    (file,) = (tmp_path / FEATURES).iterdir()
    file.write_bytes(b"torn")
    assert same(now(shop, tmp_path), first)
    assert len(made) == 2


def test_a_chunk_that_grew_too_large_is_cut_and_others_stay_as_they_are(
    shop, tmp_path, made, monkeypatch
):
    monkeypatch.setattr(kept_features, "CHUNK", 2)
    monkeypatch.setattr(kept_features, "MOST_IN_CHUNK", 3)
    jobs = [closed(shop, opened(shop)) for _ in range(4)]
    first = now(shop, tmp_path)
    files = set((tmp_path / FEATURES).iterdir())
    assert len(files) == 2
    with shop.store.write("Ines", NOW) as unit:
        unit.jobs.save(replace(jobs[3], lines=("squeals",)), verb="edit", what="lines")
    made.clear()
    again = now(shop, tmp_path)
    assert made == [jobs[3].id]
    assert again.cases == first.cases
    assert len(files & set((tmp_path / FEATURES).iterdir())) == 1


def test_what_was_kept_before_there_were_chunks_goes(shop, tmp_path):
    closed(shop, opened(shop))
    left = tmp_path / f"{FEATURES}.npz"
    left.write_bytes(b"old")
    now(shop, tmp_path)
    assert not left.exists()
