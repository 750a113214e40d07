import hashlib
import random
from io import BytesIO

import numpy as np
import pytest

from kb.retrieval import snapshot
from kb.retrieval.analyzer import word_terms
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure
from kb.retrieval.snapshot import read_snapshot, write_snapshot
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
    again, more, _, _ = found
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


def test_fitted_numbers_are_kept_with_the_index(tmp_path):
    path, numbers = tmp_path / "index.npz", {"vote": 0.25, "part text": 1.5}
    write_snapshot(path, STAMP, CaseIndex().fit(CASES), spaces={}, numbers=numbers)
    found = read_snapshot(path, STAMP)
    assert found is not None
    assert found.numbers == numbers


def hostile(name):
    """Return a file that numpy would unpack: pickled objects, or zeros that fill the memory."""
    stream = BytesIO()
    if name == "pickled":
        np.savez(stream, head=np.array([print], dtype=object))
    elif name == "bomb":
        np.savez_compressed(stream, head=np.zeros(50_000_000, np.uint8))
    else:
        np.save(stream, np.zeros(3))
    return stream.getvalue()


@pytest.mark.parametrize("name", ["pickled", "bomb", "one array"])
@pytest.mark.parametrize("signed", ["plain", "as another shop", "not at all"])
def test_a_hostile_file_is_never_unpacked(tmp_path, monkeypatch, name, signed):
    path, body = tmp_path / "index.npz", hostile(name)
    digest = hashlib.blake2b(body, digest_size=32).digest()
    if signed == "as another shop":
        digest = snapshot._digest(body, snapshot.key_of({"state": "8"}))
    path.write_bytes(body if signed == "not at all" else digest + body)
    monkeypatch.setattr(np, "load", lambda *_, **__: pytest.fail("it was unpacked"))
    assert read_snapshot(path, STAMP) is None


def test_vehicle_groups_are_kept(tmp_path):
    path = tmp_path / "index.npz"
    index = CaseIndex().fit([CaseFeatures(case="C0", group="pellarin copse")])
    write_snapshot(path, STAMP, index, spaces={})
    found = read_snapshot(path, STAMP)
    assert found is not None
    assert found[0].groups_ == ("pellarin copse",)


def test_no_file_is_left_aside(kept):
    assert [path.name for path in kept[0].parent.iterdir()] == ["index.npz"]
