import sys
from mmap import ACCESS_READ, PAGESIZE, mmap

import numpy as np
import pytest

from kb.retrieval import pages
from kb.retrieval.pages import any_is_cold, fetch, fetch_lists, look_into, scattered

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="other systems do not say which pages are there"
)
# Whole numbers of 4 bytes a page, and how many pages there are.
A_PAGE, PAGES = PAGESIZE // 4, 300
NUMBERS = np.arange(A_PAGE * PAGES, dtype=np.int32)


@pytest.fixture
def mapped(tmp_path, monkeypatch):
    """Return what maps a file of numbers, as if it were in memory or not."""

    def made(*, there, numbers=NUMBERS):
        monkeypatch.setattr(pages, "_is_there", lambda *_: there)
        path = tmp_path / "numbers"
        path.write_bytes(numbers.tobytes())
        with path.open("rb") as file:
            content = mmap(file.fileno(), 0, access=ACCESS_READ)
        look_into(content, path)
        return content, np.ndarray(len(numbers), np.int32, content)

    return made


def told(content):
    return np.flatnonzero(pages._cold[content]).tolist()


def test_a_file_that_is_in_memory_is_read_as_ever(mapped):
    content, array = mapped(there=True)
    fetch(array)
    assert content not in pages._cold


def test_a_small_file_is_not_looked_into(mapped):
    content, _ = mapped(there=False, numbers=NUMBERS[:10])
    assert content not in pages._cold


def test_what_was_just_written_is_in_memory(tmp_path):
    path = tmp_path / "numbers"
    path.write_bytes(NUMBERS.tobytes())
    with path.open("rb") as file:
        content = mmap(file.fileno(), 0, access=ACCESS_READ)
    look_into(content, path)
    assert content not in pages._cold


def test_the_pages_of_the_lists_asked_are_told_and_no_others(mapped):
    content, array = mapped(there=False)
    assert any_is_cold()
    pointers = np.array([0, 3, A_PAGE * 100, A_PAGE * 102, A_PAGE * 250, A_PAGE * 250 + 1])
    fetch_lists((array, array[:5].copy()), pointers, np.array([2, 0, 4]))
    assert told(content) == [0, 100, 101, 250]


def test_pages_between_two_lists_near_by_are_told_with_them(mapped):
    content, array = mapped(there=False)
    pointers = np.array([0, 1, A_PAGE * 3, A_PAGE * 3 + 1])
    fetch_lists((array,), pointers, np.array([0, 2]))
    assert told(content) == [0, 1, 2, 3]


def test_a_part_of_an_array_is_told_from_where_it_begins(mapped):
    content, array = mapped(there=False)
    fetch(array[A_PAGE * 7 : A_PAGE * 9], array[:0])
    assert told(content) == [7, 8]
    scattered(array)
    fetch(array)
    assert told(content) == list(range(PAGES))
    assert np.array_equal(array, NUMBERS)


def test_nothing_is_told_of_what_is_in_no_file(mapped):
    content, _ = mapped(there=False)
    fetch(NUMBERS)
    fetch_lists((NUMBERS,), np.array([0, 1]), np.zeros(0, np.int64))
    assert told(content) == []


def test_a_file_that_was_let_go_is_forgotten(mapped):
    content, array = mapped(there=False)
    before = len(pages._cold)
    del content, array
    assert len(pages._cold) == before - 1
