from xml.etree import ElementTree

import pytest

from web.charts import Dot, Lane, dot_strip
from web.strip_drawing import shape, strip_shapes

SVG = "<svg>{}</svg>"


def drawn(*lanes, axis_label="psi", **changes):
    return ElementTree.fromstring(
        SVG.format(strip_shapes(dot_strip(lanes, axis_label=axis_label, **changes)))
    )


def lane(*dots, kind="before", **changes):
    return Lane(**{"shape": kind, "label": "This car", "said": "58", "dots": dots} | changes)


def test_what_somebody_typed_is_shown_as_text():
    typed = '<b>"R&D\'s"</b>'
    found = drawn(lane(Dot(value=58.0), label=typed, said=typed), axis_label=typed)
    assert [row.text for row in found.iter("text")].count(typed) == 3
    assert not list(found.iter("b"))


@pytest.mark.parametrize(
    ("band", "anchor"),
    [((20.0, 25.0), "start"), ((45.0, 55.0), "middle"), ((75.0, 80.0), "end"), (None, None)],
)
def test_the_word_at_a_band_stays_inside_the_picture(band, anchor):
    found = drawn(lane(Dot(value=20.0), Dot(value=80.0)), band=band)
    assert [row.get("text-anchor") for row in found.iter("text") if row.text == "usual"] == (
        [anchor] if anchor else []
    )
    assert len([row for row in found.iter() if row.get("data-part") == "band"]) == bool(band)


def test_a_range_and_an_open_end_are_drawn_beside_the_value():
    dots = (
        Dot(value=59.0, low=58.0, high=60.0),
        Dot(value=70.0, bound="over"),
        Dot(value=40.0, bound="under"),
        Dot(value=65.0),
    )
    found = drawn(lane(*dots))
    assert len([row for row in found.iter() if row.get("data-part") == "range"]) == 3
    assert len([row for row in found.iter("path") if "l7 6l-7 6" in row.get("d")]) == 1
    assert len([row for row in found.iter("path") if "l-7 6l7 6" in row.get("d")]) == 1
    assert len([row for row in found.iter() if row.get("data-part") == "mark"]) == 4


def test_every_kind_of_value_has_a_shape_of_its_own():
    kinds = ("before", "during", "after", "case")
    shapes = [ElementTree.fromstring(shape(kind, 100.0, 50.0)) for kind in kinds]
    assert [row.tag for row in shapes] == ["circle", "path", "rect", "circle"]
    assert [shapes[at].get("fill") for at in (0, 3)] == ["currentColor", "none"]
