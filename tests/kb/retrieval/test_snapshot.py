import random

import numpy as np
import pytest

from kb.retrieval.analyzer import word_terms
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure
from kb.retrieval.snapshot import kept_numbers, read_snapshot, write_snapshot
from kb.retrieval.vectors import TextSpace

STAMP = {"state": "7"}
CASES = [
    CaseFeatures(
        case=f"C{i}",
        said=f"warm at idle {i}",
        told="fan dead" if i % 2 else "",
        tokens=(Token(part="symptom", field="s|", value="yes" if i % 3 else "no", what="s"),),
        measures=(Measure(key="a", value=float(i), what=f"a {i} psi"),),
        cause="fan" if i % 2 else None,
        standing="proven",
        origin="another_shop",
        weight=0.7,
    )
    for i in range(9)
]
QUERY = CaseFeatures(
    case="Q",
    said="warm idle",
    tokens=(Token(part="symptom", field="s|", value="yes", what="s"),),
    measures=(Measure(key="a", value=4.0, what="a 4 psi"),),
)


@pytest.fixture
def kept(tmp_path):
    index = CaseIndex().fit(CASES)
    spaces = {"said word": TextSpace(word_terms).fit(["a b", "b c"])}
    path = tmp_path / "index.npz"
    write_snapshot(path, STAMP, index, spaces=spaces)
    return path, index, spaces


def test_a_kept_index_answers_to_the_last_bit_as_the_fitted_one(kept):
    path, index, spaces = kept
    found = read_snapshot(path, STAMP)
    assert found is not None
    again, more, _ = found
    assert np.array_equal(again.scores(QUERY), index.scores(QUERY))
    assert again.search(QUERY) == index.search(QUERY)
    assert (again.causes_, again.standings_) == (index.causes_, index.standings_)
    assert again.origins_ == index.origins_
    ours, theirs = (s.cosine(s.query("b")) for s in (spaces["said word"], more["said word"]))
    assert np.array_equal(ours, theirs)


def test_an_empty_index_can_be_kept(tmp_path):
    path = tmp_path / "index.npz"
    write_snapshot(path, STAMP, CaseIndex().fit([]), spaces={})
    found = read_snapshot(path, STAMP)
    assert found is not None
    assert found[0].ids_ == ()


@pytest.mark.parametrize("stamp", [{"state": "8"}, {"state": "7", "altitude_m": 1.0}])
def test_an_index_of_another_state_is_ignored(kept, stamp):
    assert read_snapshot(kept[0], stamp) is None


def test_a_missing_file_is_no_error(tmp_path):
    assert read_snapshot(tmp_path / "none.npz", STAMP) is None


def test_torn_and_flipped_files_are_ignored(kept):
    path = kept[0]
    good, rng = path.read_bytes(), random.Random(7)
    for _ in range(200):
        broken = bytearray(good)
        broken[rng.randrange(len(broken))] ^= 1 << rng.randrange(8)
        if rng.random() < 0.3:
            del broken[rng.randrange(len(broken)) :]
        path.write_bytes(bytes(broken))
        assert read_snapshot(path, STAMP) is None


def test_fitted_numbers_are_kept_whatever_the_state(tmp_path):
    path, numbers = tmp_path / "index.npz", {"vote": 0.25, "part text": 1.5}
    assert kept_numbers(path) == {}
    write_snapshot(path, STAMP, CaseIndex().fit(CASES), spaces={}, numbers=numbers)
    assert kept_numbers(path) == numbers
    assert read_snapshot(path, {"state": "8"}) is None
    path.write_bytes(path.read_bytes()[:-1])
    assert kept_numbers(path) == {}


def test_vehicle_groups_are_kept(tmp_path):
    path = tmp_path / "index.npz"
    index = CaseIndex().fit([CaseFeatures(case="C0", group="pellarin copse")])
    write_snapshot(path, STAMP, index, spaces={})
    found = read_snapshot(path, STAMP)
    assert found is not None
    assert found[0].groups_ == ("pellarin copse",)


def test_no_file_is_left_aside(kept):
    assert [path.name for path in kept[0].parent.iterdir()] == ["index.npz"]
