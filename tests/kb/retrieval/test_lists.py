import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import sparse

from kb.retrieval import lists
from kb.retrieval.lists import add_alike, add_lists, add_rows, places


@pytest.fixture(params=["compiled", "plain"])
def way(request, monkeypatch):
    if request.param == "plain":
        monkeypatch.setattr(lists, "csc_matvec", None)
    else:
        assert "csc_matvec" in vars(lists)


def random_lists(seed, kind=np.float32):
    rng = np.random.default_rng(seed)
    made = sparse.random_array((9, 40), density=0.3, rng=rng, format="csr")
    made.sort_indices()
    parts = made.indptr.astype(np.int32), made.indices.astype(np.int32), made.data.astype(kind)
    return made, *parts


@pytest.mark.source("scipy.sparse", "product of a row and a sparse array")
@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("wanted", [[3], [0, 8, 4], [2, 3], [8, 7, 6, 5, 4, 3, 2, 1, 0], []])
@pytest.mark.usefixtures("way")
def test_lists_are_added_as_a_sparse_product(kind, wanted):
    made, pointers, rows, values = random_lists(len(wanted), kind)
    scales = np.linspace(-1, 2, len(wanted)).astype(kind)
    total = np.ones(40, kind)
    add_lists(
        total, pointers, rows=rows, values=values, lists=np.array(wanted, np.int64), scales=scales
    )
    expected = 1 + (made[wanted].T @ scales if wanted else np.zeros(40))
    np.testing.assert_allclose(total, expected, atol=1e-6)


@pytest.mark.usefixtures("way")
def test_the_weights_of_some_rows_are_added():
    total = np.zeros(4, np.float32)
    add_rows(total, np.array([1, 3], np.int32), np.array([2.0, -1.0], np.float32))
    add_rows(total, np.zeros(0, np.int32), np.zeros(0, np.float32))
    assert total.tolist() == [0, 2, 0, -1]


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_one_weight_is_added_to_short_and_long_lists(kind):
    total = np.zeros(9, kind)
    for rows in ([4], [0, 1, 2, 3, 4, 5, 6, 7], [8], []):
        add_alike(total, np.array(rows, np.int32), 0.1)
    once = kind(0.1)
    assert total.tolist() == [once, once, once, once, once + once, once, once, once, once]


@given(
    st.lists(st.sets(st.integers(0, 30)), min_size=1, max_size=6),
    st.lists(st.integers(0, 30), max_size=5, unique=True),
    st.sampled_from([0, 3, 100]),
)
@example([{*range(0, 30, 2)}, {*range(29)}, set(), {7}], [29, 0, 28, 7], 0)
@example([set()], [3], 0)
def test_every_case_is_found_where_it_stands(held, wanted, short):
    rows = np.array([row for one in held for row in sorted(one)], np.int32)
    pointers = np.cumsum([0, *map(len, held)]).astype(np.int32)
    some = np.arange(len(held))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lists, "_SHORT", short)
        found = places(pointers, rows, lists=some, wanted=np.array(wanted, np.int32))
    expected = [
        (number, column, pointers[number] + sorted(one).index(case))
        for number, one in enumerate(held)
        for column, case in enumerate(wanted)
        if case in one
    ]
    assert sorted(zip(*(part.tolist() for part in found), strict=True)) == expected


def test_rows_that_end_in_the_same_bits_are_told_apart():
    rows = np.array([5, 4096 + 5, 5, 8192 + 5], np.int32)
    wanted = np.array([4096 + 5, 3], np.int32)
    found = places(np.array([0, 2, 4]), rows, lists=np.array([0, 1]), wanted=wanted)
    assert [part.tolist() for part in found] == [[0], [0], [1]]
