import csv
import io
import math
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.errors import ParseError
from kb.store.exported import Column, Holds
from kb.workflow.exchange.values import LARGEST, as_cell, as_json, from_cell, from_json, from_row

TEXT = Column(name="said", holds=Holds.TEXT, may_lack=False)
LACKING = Column(name="said", holds=Holds.TEXT, may_lack=True)
HOSTILE = [
    "=1+1", "+1", "-1", "@x", "\tx", "\rx", "\x00x", "\nx", "=cmd|' /C calc'!A0",
    '=HYPERLINK("http://shop.test";"x")', "=1+1\r\n=2+2", "@SUM(1)", "+1-555-0100", "-", "=", "'",
    "''", "'=1+1", "'x", " =1+1", "\u00a0@x", "\uff1d1+1", "\uff0b1", "\uff0d1", "\uff20x",
    "a;=1+1", "a,=1+1", 'a"=1+1', '"', '""', '"=1+1"', "=1+1,=2+2", "=\u202ex", "-2+3+cmd|' /C x'!A0",
    "\t=1", "\x00\x00", "=é", "@\u0301", "\r", "\n",
]  # fmt: skip
# OWASP's list, and what spreadsheets of other scripts take for the same signs.
STARTERS = tuple("=+-@\t\r\x00\uff0b\uff1d\uff0d\uff20")


def through_csv(cell):
    stream = io.StringIO(newline="")
    csv.writer(stream, quoting=csv.QUOTE_NONNUMERIC).writerow([cell, "next"])
    (row,) = csv.reader(io.StringIO(stream.getvalue(), newline=""), strict=True)
    return row[0]


def test_there_are_forty_hostile_cells():
    assert len(set(HOSTILE)) == 40


@pytest.mark.source("OWASP ASVS 5.0", "1.2.10: quote before = + - @ tab and NUL; RFC 4180 quoting")
@pytest.mark.parametrize("column", [TEXT, LACKING], ids=["needed", "may lack"])
@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_cell_is_no_formula_and_comes_back_as_it_was(text, column):
    cell = str(as_cell(column, text))
    assert not cell.lstrip(" \u00a0").startswith(STARTERS)
    assert from_cell(column, through_csv(cell)) == text


@given(text=st.none() | st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_and_no_text_come_back_as_they_were(text):
    cell = str(as_cell(LACKING, text))
    assert from_cell(LACKING, through_csv(cell)) == text
    assert not cell.startswith(STARTERS)


VALUES = [
    (Holds.WHOLE, -5),
    (Holds.WHOLE, LARGEST),
    (Holds.NUMBER, -0.1),
    (Holds.NUMBER, 1e300),
    (Holds.NUMBER, 5e-324),
    (Holds.YES_NO, True),
    (Holds.YES_NO, False),
    (Holds.DAY, date(2026, 5, 14)),
    (Holds.MOMENT, datetime(2026, 5, 14, 9, 30, 0, 1, tzinfo=UTC)),
    (Holds.WORDS, ()),
    (Holds.WORDS, ("=a", "é,\n")),
    (Holds.TEXT, ""),
]


@pytest.mark.parametrize("may_lack", [True, False])
@pytest.mark.parametrize(("holds", "value"), VALUES)
def test_a_value_of_each_kind_comes_back_from_a_cell_and_from_json(holds, value, may_lack):
    column = Column(name="x", holds=holds, may_lack=may_lack)
    assert from_cell(column, through_csv(as_cell(column, value))) == value
    assert from_json(column, as_json(value)) == value


WRONG = [
    (Holds.WHOLE, True), (Holds.WHOLE, 1.0), (Holds.WHOLE, LARGEST + 1), (Holds.NUMBER, math.inf),
    (Holds.NUMBER, "1"), (Holds.NUMBER, 10**400), (Holds.YES_NO, 1), (Holds.DAY, "14.5.2026"),
    (Holds.MOMENT, "2026-05-14T09:30:00"), (Holds.MOMENT, "0001-01-01T00:00:00+10:00"),
    (Holds.WORDS, "a"), (Holds.WORDS, [1]), (Holds.TEXT, 1), (Holds.TEXT, "\ud800"),
]  # fmt: skip


@pytest.mark.parametrize(("holds", "value"), WRONG)
def test_json_of_another_kind_is_refused(holds, value):
    column = Column(name="x", holds=holds, may_lack=True)
    with pytest.raises(ParseError, match="expected x as"):
        from_json(column, value)


@pytest.mark.parametrize(
    ("holds", "cell"),
    [
        (Holds.WHOLE, "1.5"),
        (Holds.WHOLE, "1_0"),
        (Holds.WHOLE, "\u0661"),
        (Holds.NUMBER, "nan"),
        (Holds.NUMBER, "1e999"),
        (Holds.YES_NO, "true"),
        (Holds.WORDS, "[1"),
        (Holds.WORDS, '{"a": 1}'),
        (Holds.DAY, ""),
    ],
)
def test_a_cell_of_another_kind_is_refused(holds, cell):
    with pytest.raises(ParseError, match="expected x as"):
        from_cell(Column(name="x", holds=holds, may_lack=False), cell)


def test_nothing_is_no_text_where_text_is_needed():
    with pytest.raises(ParseError, match="nothing"):
        from_json(TEXT, None)
    assert from_cell(TEXT, "") == ""
    assert from_cell(LACKING, "") is None


def test_a_column_that_nobody_knows_is_refused():
    assert from_row((LACKING,), {}) == {"said": None}
    with pytest.raises(ParseError, match="colour"):
        from_row((LACKING,), {"colour": 1})
