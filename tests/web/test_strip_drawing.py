import re
from xml.etree import ElementTree

import pytest

from kb.case.model import Phase
from kb.workflow.strips import Spot
from web.strip_drawing import LINE, Lane, shape, strip_shapes

SVG = "<svg height='{}'>{}</svg>"


def drawn(*lanes, axis_label="psi", **changes):
    return ElementTree.fromstring(
        SVG.format(*strip_shapes(lanes, axis_label=axis_label, **changes))
    )


def spot(value, **changes):
    return Spot(phase=Phase.BEFORE, value=value, said="x", unit="psi", **changes)


def lane(*spots, label="This car", said="58", shape="before", **changes):
    rows = [row if isinstance(row, Spot) else spot(row) for row in spots]
    return Lane(label, said, shape=shape, spots=rows, **changes)


def all_of(found, kind):
    return [row for row in found.iter() if row.get("data-part") == kind]


def value_at(ticks, place):
    """Read a place back by the first and last tick of its axis."""
    (low, first), (high, last) = [
        (float(label.replace("−", "-")), float(at)) for label, at in (ticks[0], ticks[-1])
    ]
    return low + (float(place) - first) / (last - first) * (high - low)


def read_back(found, *places):
    ticks = [(row.text, row.get("x")) for row in all_of(found, "tick")]
    return [value_at(ticks, at) for at in places]


def numbers(row, name):
    """Return the numbers of an attribute."""
    return [float(number) for number in re.findall(r"-?[0-9.]+", row.get(name))]


def test_every_value_reads_back():
    found = drawn(lane(318.0), Lane("cases", "x", values=(209.0, 214.0)), band=(130.0, 260.0))
    marks = [row.get("cx") for row in all_of(found, "mark")]
    assert read_back(found, *marks) == pytest.approx([318, 209, 214], abs=0.05)
    (band,) = all_of(found, "band")
    start, width = float(band.get("x")), float(band.get("width"))
    assert read_back(found, start, start + width) == pytest.approx([130, 260], abs=0.05)
    assert [row.text for row in found.iter("text")][-1] == "psi"


def test_a_middle_half_reads_back_as_its_quartiles():
    found = drawn(Lane("cases", "x", half=(2.5, 4.0, 5.5)))
    (box,), (middle,) = all_of(found, "half"), all_of(found, "middle")
    start, width = float(box.get("x")), float(box.get("width"))
    read = read_back(found, start, numbers(middle, "d")[0], start + width)
    assert read == pytest.approx([2.5, 4.0, 5.5], abs=0.01)
    assert not all_of(found, "mark")


def test_an_open_reading_runs_to_the_end_of_the_axis_on_its_open_side():
    found = drawn(lane(spot(5.0, bound="under"), spot(9.0, bound="over"), 7.0))
    at = [float(row.get("cx")) for row in all_of(found, "mark")]
    under, over = [numbers(row, "d") for row in all_of(found, "range")]
    assert (under[0], under[2]) == (20.0, at[0])
    assert (over[0], over[2]) == (at[1], 340.0)
    assert at[0] - under[0] > 10
    assert over[2] - at[1] > 10
    assert len([row for row in found.iter("path") if "l7 6l-7 6" in row.get("d")]) == 1
    assert len([row for row in found.iter("path") if "l-7 6l7 6" in row.get("d")]) == 1


def test_a_range_is_as_wide_as_typed():
    found = drawn(lane(spot(59.0, low=58.0, high=60.0)))
    (row,) = all_of(found, "range")
    start, _, end = numbers(row, "d")
    assert read_back(found, start, end) == pytest.approx([58, 60], abs=0.01)
    assert not all_of(drawn(lane(spot(59.0, low=59.0, high=59.0))), "range")


def test_without_a_number_there_is_no_picture():
    with pytest.raises(ValueError, match="at least one number"):
        drawn(lane(), band=(1.0, 2.0))


def test_an_axis_does_not_begin_at_zero_unless_a_value_is_there():
    found = drawn(lane(13.6), lane(14.1))
    assert min(float(row.text) for row in all_of(found, "tick")) > 13


def test_lanes_stand_below_each_other_inside_the_picture():
    found = drawn(*[lane(1.0)] * 5)
    heights = [float(row.get("cy")) for row in all_of(found, "mark")]
    assert heights == sorted(set(heights))
    axis = numbers(next(row for row in found.iter("path") if row.get("stroke-width") == "1.5"), "d")
    assert heights[-1] < axis[1] < float(found.get("height"))


def test_a_long_label_runs_on_below_itself_whole_and_clear_of_the_values():
    label = "2 cases: Condenser or radiator face blocked with dirt"
    found = drawn(lane(1.0, label=label, said="1, 2, 3"), lane(1.0))
    texts = [(row.text, float(row.get("y"))) for row in found.iter("text")]
    at = [text for text, _ in texts].index("1, 2, 3")
    lines, short = texts[:at], texts[at + 1]
    assert len(lines) > 1
    assert " ".join(text for text, _ in lines) == label
    assert all(len(text) + len("1, 2, 3") < LINE for text, _ in lines)
    assert [y for _, y in lines] == sorted({y for _, y in lines})
    assert texts[at][1] == lines[0][1]
    assert lines[-1][1] < float(all_of(found, "mark")[0].get("cy")) < short[1]


def test_what_somebody_typed_is_shown_as_text():
    typed = '<b>"R&D\'s"</b>'
    found = drawn(lane(58.0, label=typed, said=typed), axis_label=typed)
    assert [row.text for row in found.iter("text")].count(typed) == 3
    assert not list(found.iter("b"))


@pytest.mark.parametrize(
    ("band", "anchor"),
    [((20.0, 25.0), "start"), ((45.0, 55.0), "middle"), ((75.0, 80.0), "end"), (None, None)],
)
def test_the_word_at_a_band_stays_inside_the_picture(band, anchor):
    found = drawn(lane(20.0, 80.0), band=band)
    assert [row.get("text-anchor") for row in found.iter("text") if row.text == "usual"] == (
        [anchor] if anchor else []
    )
    assert len(all_of(found, "band")) == bool(band)


def test_every_kind_of_value_has_a_shape_of_its_own():
    kinds = ("before", "during", "after", "case")
    shapes = [ElementTree.fromstring(shape(kind, 100.0, 50.0)) for kind in kinds]
    assert [row.tag for row in shapes] == ["circle", "path", "rect", "circle"]
    assert [shapes[at].get("fill") for at in (0, 3)] == ["currentColor", "none"]
