import random

import numpy as np
import pytest

from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.learn import fit_learned
from kb.retrieval.learned_file import read_learned, write_learned
from kb.retrieval.snapshot import read_snapshot, write_snapshot
from tests.kb.retrieval.test_learn import ask, cases


@pytest.fixture
def kept(tmp_path):
    learned = fit_learned(cases())
    assert learned is not None
    write_learned(tmp_path / "learned.npz", learned, key="k")
    return tmp_path / "learned.npz", learned


def test_what_was_kept_answers_to_the_last_bit(kept):
    path, learned = kept
    again = read_learned(path, key="k")
    assert again is not None
    assert np.array_equal(again.marks, learned.marks)
    index = CaseIndex().fit(cases())
    first = index.attach(learned).search(ask("pump leaking"))
    assert index.attach(again).search(ask("pump leaking")) == first
    assert first[0].reasons


def test_a_kept_index_takes_up_what_was_learned(kept, tmp_path):
    _, learned = kept
    index = CaseIndex().fit(cases())
    write_snapshot(tmp_path / "index.npz", {"state": "1"}, index)
    found = read_snapshot(tmp_path / "index.npz", {"state": "1"})
    assert found is not None
    query = ask("fan noisy")
    got = found[0].attach(learned).scores(query)
    assert np.array_equal(got, index.attach(learned).scores(query))


def test_a_missing_foreign_or_broken_file_is_ignored(kept, tmp_path):
    path, _ = kept
    assert read_learned(tmp_path / "none.npz", key="k") is None
    write_snapshot(tmp_path / "index.npz", {}, CaseIndex().fit([CaseFeatures(case="C")]))
    assert read_learned(tmp_path / "index.npz", key="k") is None
    good, rng = path.read_bytes(), random.Random(5)
    for _ in range(50):
        broken = bytearray(good)
        broken[rng.randrange(len(broken))] ^= 1 << rng.randrange(8)
        path.write_bytes(bytes(broken))
        assert read_learned(path, key="k") is None
