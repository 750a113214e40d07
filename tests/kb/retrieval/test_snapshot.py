import random
from io import BytesIO

import numpy as np
import pytest

from kb.retrieval import snapshot, worth
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.measures import Measure
from kb.retrieval.snapshot import read_snapshot, write_snapshot

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
    further: Arrays = {"rows": np.arange(3), "of none": np.zeros(0, np.int32)}
    path = tmp_path / "index"
    write_snapshot(path, STAMP, index, further=further)
    return path, index, further


def test_a_kept_index_answers_to_the_last_bit_as_the_fitted_one(kept):
    path, index, further = kept
    found = read_snapshot(path, STAMP)
    assert found is not None
    again, more, _, _ = found
    assert np.array_equal(again.scores(QUERY), index.scores(QUERY))
    assert again.search(QUERY) == index.search(QUERY)
    assert (again.causes_, again.standings_) == (index.causes_, index.standings_)
    assert again.origins_ == index.origins_
    assert more.keys() == further.keys()
    assert all(np.array_equal(more[name], row) for name, row in further.items())


def test_an_empty_index_can_be_kept(tmp_path):
    path = tmp_path / "index"
    write_snapshot(path, STAMP, CaseIndex().fit([]))
    found = read_snapshot(path, STAMP)
    assert found is not None
    assert found[0].ids_ == ()


@pytest.mark.parametrize("stamp", [{"state": "8"}, {"state": "7", "altitude_m": 1.0}])
def test_an_index_of_another_state_is_ignored(kept, stamp):
    assert read_snapshot(kept[0], stamp) is None


def test_a_missing_file_is_no_error(tmp_path):
    assert read_snapshot(tmp_path / "none", STAMP) is None


def every_file(path):
    return sorted(file for file in path.rglob("*") if file.is_file())


def test_torn_and_flipped_arrays_are_ignored_each_of_them(kept):
    path, rng = kept[0], random.Random(7)
    for file in every_file(path):
        good = file.read_bytes()
        broken = bytearray(good)
        broken[rng.randrange(len(broken))] ^= 1 << rng.randrange(8)
        for other in (bytes(broken), good[: rng.randrange(len(good))]):
            file.write_bytes(other)
            assert read_snapshot(path, STAMP) is None
        file.unlink()
        assert read_snapshot(path, STAMP) is None
        file.write_bytes(good)
    assert read_snapshot(path, STAMP) is not None


def test_a_folder_of_an_older_format_is_ignored(kept, monkeypatch):
    monkeypatch.setattr(snapshot, "FORMAT", snapshot.FORMAT + 1)
    assert read_snapshot(kept[0], STAMP) is None


def test_the_file_in_which_an_index_was_kept_before_goes(kept):
    path, index, _ = kept
    old = path.with_name("index.npz")
    old.write_bytes(b"of an older format")
    write_snapshot(path, STAMP, index)
    assert not old.exists()
    assert read_snapshot(path, STAMP) is not None


def test_what_was_read_is_kept_again_as_it_was(kept, tmp_path):
    found = read_snapshot(kept[0], STAMP)
    assert found is not None
    write_snapshot(tmp_path / "again", STAMP, found.cases, further=found.further)
    again = read_snapshot(tmp_path / "again", STAMP)
    assert again is not None
    assert again.cases.search(QUERY) == kept[1].search(QUERY)


def test_fitted_numbers_are_kept_with_the_index(tmp_path):
    path, numbers = tmp_path / "index", {"vote": 0.25, "part text": 1.5}
    write_snapshot(path, STAMP, CaseIndex().fit(CASES), numbers=numbers)
    found = read_snapshot(path, STAMP)
    assert found is not None
    assert found.numbers == numbers


def hostile(name):
    """Return a file that numpy would unpack: pickled objects, or zeros that fill the memory."""
    stream = BytesIO()
    if name == "pickled":
        np.save(stream, np.array([print], dtype=object), allow_pickle=True)
    else:
        np.savez_compressed(stream, head=np.zeros(50_000_000, np.uint8))
    return stream.getvalue()


@pytest.mark.parametrize("name", ["pickled", "bomb"])
def test_a_hostile_file_is_never_unpacked(kept, monkeypatch, name):
    monkeypatch.setattr(np, "load", lambda *_, **__: pytest.fail("it was unpacked"))
    body = hostile(name)
    for file in every_file(kept[0]):
        good = file.read_bytes()
        file.write_bytes(body)
        assert read_snapshot(kept[0], STAMP) is None
        file.write_bytes(good)


def test_vehicle_groups_are_kept(tmp_path):
    path = tmp_path / "index"
    index = CaseIndex().fit([CaseFeatures(case="C0", group="pellarin copse")])
    write_snapshot(path, STAMP, index)
    found = read_snapshot(path, STAMP)
    assert found is not None
    assert found[0].groups_ == ("pellarin copse",)


def test_no_file_is_left_aside(kept):
    assert [path.name for path in kept[0].parent.iterdir()] == ["index"]
    assert [path.name for path in kept[0].iterdir()] == ["00000001"]


def test_what_was_kept_of_quantities_is_not_fitted_again(kept, monkeypatch):
    monkeypatch.setattr(CaseIndex, "_fit_scale", lambda *_: pytest.fail("it was fitted again"))
    found = read_snapshot(kept[0], STAMP)
    assert found is not None
    scale = found.cases.scale("a")
    assert np.asarray(scale.population).tolist() == [float(i) for i in range(9)]
    assert found.cases.search(QUERY) == kept[1].search(QUERY)


def test_how_often_cases_share_a_token_is_kept_to_the_last_bit(kept, monkeypatch):
    found = read_snapshot(kept[0], STAMP)
    assert found is not None
    monkeypatch.setattr(worth, "copied", lambda *_: pytest.fail("it was counted again"))
    keys = list(found.cases.tokens_.keys)
    here = [found.cases.copied(key) for key in keys]
    monkeypatch.undo()
    assert here == [kept[1].copied(key) for key in keys]
    assert found.cases.copied("never seen") == kept[1].copied("never seen")
