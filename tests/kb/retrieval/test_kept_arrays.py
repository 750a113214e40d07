import json
import os
import random
import shutil
import time
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import numpy as np
import pytest

from kb.retrieval import kept_arrays
from kb.retrieval.kept_arrays import CHECKED, HEAD, kept_bytes, kept_mark, read_kept, write_kept

ARRAYS: dict[str, Any] = {
    "few rows": np.arange(12, dtype=np.int32).reshape(3, 4),
    "none": np.zeros((0, 3), np.float64),
    "letters": np.frombuffer(b"warm at idle", np.uint8),
}
TOLD = {"seq": 7}


@pytest.fixture
def kept(tmp_path):
    path = tmp_path / "index"
    write_kept(path, ARRAYS, key="k", told=TOLD)
    return path


@pytest.fixture
def large(monkeypatch):
    """Let few bytes count as many, and files as settled at once."""
    monkeypatch.setattr(kept_arrays, "_FEW", 0)
    monkeypatch.setattr(kept_arrays, "_SETTLED_NS", -1_000_000_000)


def whole(path):
    found = read_kept(path, key="k")
    assert found is not None
    return found


def state(path):
    return path / kept_mark(path).partition(" ")[0]


def test_arrays_and_values_come_back_and_cannot_be_changed(kept):
    arrays, told = whole(kept)
    assert told == TOLD
    assert arrays.keys() == ARRAYS.keys()
    for name, array in ARRAYS.items():
        assert (arrays[name].dtype, arrays[name].shape) == (array.dtype, array.shape)
        assert np.array_equal(arrays[name], array)
        assert not arrays[name].flags.writeable


def test_the_files_are_plain_arrays_that_numpy_reads(kept):
    assert np.array_equal(np.load(state(kept) / "few-rows.npy"), ARRAYS["few rows"])
    assert kept_bytes(kept) > sum(array.nbytes for array in ARRAYS.values())


def test_another_key_a_file_in_the_way_and_nothing_read_as_nothing(kept, tmp_path):
    assert read_kept(kept, key="other") is None
    assert read_kept(tmp_path / "none", key="k") is None
    (tmp_path / "file").write_bytes(b"x")
    assert read_kept(tmp_path / "file", key="k") is None


@pytest.mark.parametrize("seen", [False, True])
@pytest.mark.parametrize("name", [HEAD, "few-rows.npy", "none.npy", "letters.npy"])
def test_what_was_flipped_cut_emptied_or_taken_away_is_never_read(kept, large, name, seen):
    if seen:
        assert read_kept(kept, key="k") is not None
    file, drawn = state(kept) / name, random.Random(name)
    good = file.read_bytes()
    bits = [drawn.randrange(8 * len(good)) for _ in range(20)]
    flipped = [
        good[: b // 8] + bytes([good[b // 8] ^ 1 << b % 8]) + good[b // 8 + 1 :] for b in bits
    ]
    for broken in (*flipped, good[: len(good) // 2], good[:-1], b"", good + b"0"):
        file.write_bytes(broken)
        assert read_kept(kept, key="k") is None
    file.unlink()
    assert read_kept(kept, key="k") is None
    file.write_bytes(good)
    assert read_kept(kept, key="k") is not None


def test_the_digests_are_reckoned_once_for_a_file_and_a_start_of_the_machine(
    kept, large, monkeypatch
):
    digest, seen = kept_arrays._digest, []

    def counted(body, key=""):
        seen.append(key)
        return digest(body, key)

    monkeypatch.setattr(kept_arrays, "_digest", counted)

    def hashed():
        seen.clear()
        assert read_kept(kept, key="k") is not None
        return seen.count("")

    assert [hashed(), hashed()] == [3, 0]
    os.utime(state(kept) / "letters.npy")
    assert [hashed(), hashed()] == [3, 0]
    monkeypatch.setattr(kept_arrays, "_boot", lambda: "another start")
    assert [hashed(), hashed()] == [3, 0]
    (state(kept) / CHECKED).write_bytes(b"torn")
    assert [hashed(), hashed()] == [3, 0]


def test_a_file_changed_a_moment_ago_is_not_remembered(kept, monkeypatch):
    monkeypatch.setattr(kept_arrays, "_FEW", 0)
    assert read_kept(kept, key="k") is not None
    assert not (state(kept) / CHECKED).exists()


def test_what_was_checked_elsewhere_does_not_count(kept, large, tmp_path):
    other = tmp_path / "other"
    write_kept(other, ARRAYS, key="another shop", told={})
    assert read_kept(other, key="another shop") is not None
    file = state(kept) / "letters.npy"
    broken = bytearray(file.read_bytes())
    broken[-1] ^= 1
    file.write_bytes(bytes(broken))
    shutil.copy(state(other) / CHECKED, state(kept) / CHECKED)
    assert read_kept(kept, key="k") is None


def test_an_array_of_another_state_in_its_place_is_never_read(kept):
    file = state(kept) / "few-rows.npy"
    older = file.read_bytes()
    write_kept(kept, {**ARRAYS, "few rows": 2 * ARRAYS["few rows"]}, key="k", told=TOLD)
    (state(kept) / "few-rows.npy").write_bytes(older)
    assert read_kept(kept, key="k") is None


def test_the_newest_counts_and_a_reader_of_the_older_one_goes_on(kept):
    older, _ = whole(kept)
    mark = kept_mark(kept)
    write_kept(kept, {"few rows": np.ones(3)}, key="k", told={})
    assert kept_mark(kept) != mark
    assert list(whole(kept)[0]) == ["few rows"]
    assert [path.name for path in kept.iterdir()] == ["00000002"]
    assert np.array_equal(older["few rows"], ARRAYS["few rows"])


def test_a_half_written_or_foreign_newest_state_is_ignored_and_written_over(kept):
    whole = state(kept)
    half = kept / "00000005"
    half.mkdir()
    shutil.copy(whole / HEAD, half / HEAD)
    assert read_kept(kept, key="k") is None
    write_kept(kept, ARRAYS, key="k", told=TOLD)
    assert read_kept(kept, key="k") is not None
    assert [path.name for path in kept.iterdir()] == ["00000006"]


def test_what_another_process_left_aside_goes_when_it_is_old(kept):
    left, fresh = kept / ".new-1-1", kept / ".new-2-2"
    left.mkdir()
    fresh.mkdir()
    long_ago = time.time() - 7200
    os.utime(left, (long_ago, long_ago))
    assert read_kept(kept, key="k") is not None
    write_kept(kept, ARRAYS, key="k", told=TOLD)
    assert (left.exists(), fresh.exists()) == (False, True)


def test_without_room_nothing_is_left_aside_and_the_older_state_stays(kept, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "no space left")

    monkeypatch.setattr(kept_arrays, "_write_told", full)
    with pytest.raises(OSError, match="no space"):
        write_kept(kept, ARRAYS, key="k", told=TOLD)
    assert [path.name for path in kept.iterdir()] == ["00000001"]
    assert read_kept(kept, key="k") is not None


def test_a_head_is_not_parsed_before_it_is_held_against_its_digest(kept, monkeypatch):
    (state(kept) / HEAD).write_bytes(b"0" * 64 + b"\n" + b"[" * 1000)
    monkeypatch.setattr(json, "loads", lambda _: pytest.fail("it was parsed"))
    assert read_kept(kept, key="k") is None


def _written(job):
    path, number = job
    for turn in range(10):
        write_kept(path, {"rows": np.full(5000, 10 * number + turn)}, key="k", told={})
    found = read_kept(path, key="k")
    return found is not None and len(set(found[0]["rows"].tolist())) == 1


def test_processes_that_write_at_once_leave_one_whole_state(tmp_path):
    path = tmp_path / "index"
    with ProcessPoolExecutor(2) as pool:
        assert all(pool.map(_written, [(path, 0), (path, 1)]))
    arrays, _ = whole(path)
    assert len(set(arrays["rows"].tolist())) == 1
    assert len(list(path.iterdir())) == 1
