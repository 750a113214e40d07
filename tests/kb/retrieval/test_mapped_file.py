from typing import Any

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.mapped_file import MappedFile, write_mapped

ARRAYS: dict[str, NDArray[Any]] = {
    "a": np.arange(6).reshape(2, 3),
    "none": np.zeros(0, np.float32),
    "b": np.ones(3, np.int8),
}


def test_arrays_come_back_and_cannot_be_written_to(tmp_path):
    path = tmp_path / "f"
    write_mapped(path, ARRAYS, key="k")
    found = MappedFile.opened(path, key="k")
    assert found is not None
    path.unlink()
    for name, array in ARRAYS.items():
        assert found[name].dtype == array.dtype
        assert np.array_equal(found[name], array)
    assert list(found) == list(ARRAYS)
    assert not found["a"].flags.writeable
    found.let_go()
    assert found["a"].tolist() == ARRAYS["a"].tolist()


def test_a_file_of_another_key_and_an_empty_one_are_not_used(tmp_path):
    write_mapped(tmp_path / "f", ARRAYS, key="k")
    assert MappedFile.opened(tmp_path / "f", key="other") is None
    (tmp_path / "e").write_bytes(b"")
    assert MappedFile.opened(tmp_path / "e", key="k") is None
