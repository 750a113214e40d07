import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.workflow.week.kept import kept_text, read_kept

values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda rows: (
        st.lists(rows, max_size=2) | st.dictionaries(st.text(max_size=3), rows, max_size=2)
    ),
    max_leaves=4,
)


@settings(deadline=None)
@given(st.dictionaries(st.sampled_from(["week", "jobs", "rows"]), values))
def test_what_was_kept_is_read_as_it_was(review):
    made = read_kept(kept_text(review))
    assert made is not None
    del made["form"]
    assert made == review


@given(st.integers(0, 70), st.sampled_from(["", "0", '"', "}"]))
def test_a_text_with_a_sign_missing_or_changed_is_not_read(at, sign):
    text = kept_text({"jobs": 41, "rows": [{"kind": "held"}]})
    damaged = text[:at] + sign + text[at + 1 :]
    if damaged != text and damaged.replace(" ", "") != text.replace(" ", ""):
        assert read_kept(damaged) is None


@pytest.mark.parametrize("text", ["", "null", "[1]", "{}", '{"form": 2}', "[" * 100_000])
def test_a_text_without_a_seal_is_not_read(text):
    assert read_kept(text) is None
