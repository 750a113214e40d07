import pytest

from kb.case.casefile import read_case, write_case
from kb.case.casefile_header import Header, split_header
from kb.case.terms import load_vocabulary
from kb.errors import CaseFileError
from tests.factories import a_full_case


@pytest.mark.parametrize(
    "text", ["", "no header", "+++\nid = 'x'\n", "---\nid: x\n---\n"], ids=repr
)
def test_a_file_without_a_whole_header_is_refused(text):
    with pytest.raises(CaseFileError, match=r"\+\+\+"):
        read_case(text)


def test_a_moment_is_no_date():
    with pytest.raises(CaseFileError, match="opened as a date"):
        read_case('+++\nid = "X"\nopened = 2026-05-14T10:00:00\n+++\n')


def test_windows_line_ends_and_a_byte_order_mark_change_nothing():
    job = a_full_case(body="one\ntwo")
    text = "\ufeff" + write_case(job).replace("\n", "\r\n")
    assert read_case(text) == job


def test_header_and_story_are_split_at_the_second_fence():
    assert split_header("+++\na = 1\n+++\nstory\n+++\n", "x.md") == ("a = 1", "story\n+++\n")


@pytest.mark.parametrize(
    ("typed", "cents"),
    [("95", 9500), ("95.00", 9500), ("95.5", 9550), ("-0.50", -50), ("0.019", 1), (7, 700)],
)
def test_money_is_read_as_whole_cents(typed, cents):
    header = Header("x.md", load_vocabulary(), "")
    assert header.cents({"cost": typed}, "cost") == cents


def test_money_that_is_not_there_is_none_and_not_zero():
    assert Header("x.md", load_vocabulary(), "").cents({}, "cost") is None


def test_a_refusal_names_the_line_of_the_whole_file():
    header = Header("x.md", load_vocabulary(), "a = 1\nb = 2")
    error = header.fail("expected something else", "b = 2")
    assert isinstance(error, CaseFileError)
    assert str(error) == "x.md, line 3: expected something else"
