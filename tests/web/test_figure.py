from xml.etree import ElementTree

import pytest

from web.charts import slope
from web.figure import numbers_table, picture_head, picture_numbers

TYPED = '<b>"R&D\'s"</b>'
NAMESPACE = "{http://www.w3.org/2000/svg}"


def test_a_picture_begins_with_its_size_its_name_and_its_description():
    head = picture_head("here", slope(1.0, 2.0), name=TYPED, told=TYPED + "!")
    found = ElementTree.fromstring(f"{head}</svg>")
    title, told = found
    assert [title.tag, told.tag] == [f"{NAMESPACE}title", f"{NAMESPACE}desc"]
    assert (title.text, told.text) == (TYPED, TYPED + "!")
    assert found.get("viewBox") == "0 0 340.0 150.0"
    assert found.get("aria-labelledby") == f"{title.get('id')} {told.get('id')}" != "here here"


@pytest.mark.parametrize("cells", [("42 psi",), ("42 psi", "usual", TYPED)])
def test_the_first_cell_of_a_row_is_its_heading(cells):
    heads = ("What", *["Value"] * len(cells))
    found = ElementTree.fromstring(picture_numbers(TYPED, [(TYPED, *cells)], heads))
    assert found.findtext("summary") == f"Numbers: {TYPED}"
    assert [row.text for row in found.iter("th")] == [*heads, TYPED]
    assert [row.get("scope") for row in found.iter("th")] == ["col"] * len(heads) + ["row"]
    assert [row.text for row in found.iter("td")] == list(cells)


def test_what_is_escaped_is_not_escaped_again():
    found = ElementTree.fromstring(numbers_table("R&amp;D", [("a &lt; b", "1")]))
    assert found.findtext("summary") == "Numbers: R&D"
    assert [row.text for row in found.iter("th")] == ["What", "Value", "a < b"]
