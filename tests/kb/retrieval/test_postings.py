from collections import defaultdict

from hypothesis import given
from hypothesis import strategies as st

from kb.retrieval.postings import gather

pairs = st.lists(st.tuples(st.sampled_from("abcd"), st.integers(0, 9)), max_size=30).map(
    lambda rows: sorted(set(rows), key=lambda pair: pair[1])
)


@given(pairs)
def test_postings_hold_the_rows_of_every_key_in_order(rows):
    expected = defaultdict(list)
    for key, row in rows:
        expected[key].append(row)
    postings, _ = gather(rows)
    for key in "abcd":
        assert postings.of(key).tolist() == expected[key]


@given(pairs)
def test_each_posting_says_which_pair_it_came_from(rows):
    postings, order = gather(rows)
    assert [rows[at][1] for at in order] == postings.rows.tolist()


def test_an_unknown_key_has_no_rows():
    postings, _ = gather([("a", 1)])
    assert postings.of("z").tolist() == []
    assert gather([])[0].of("a").tolist() == []
