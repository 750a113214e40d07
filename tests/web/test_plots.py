from dataclasses import replace

import pytest

from web.plots import Axes, Bar, Curve, Mark, plot

AXES = Axes(
    x=(0.0, 100.0), y=(0.0, 100.0), x_step=50.0, y_step=50.0, x_label="said", y_label="came"
)


def test_curves_and_marks_lie_on_one_pair_of_axes():
    made = plot(
        AXES,
        curves=[Curve(points=((0.0, 0.0), (50.0, 100.0)), style="dashed")],
        marks=[Mark(x=50.0, y=100.0, label="half", shift=(3.0, -4.0), interval=(50.0, 100.0))],
    )
    (curve,), (mark,) = made.curves, made.marks
    first, last = (tuple(map(float, point.split(","))) for point in curve.points.split())
    assert first == (made.left, made.bottom)
    assert last == (mark.x, mark.y) == ((made.left + made.right) / 2, made.top)
    assert (mark.text_x, mark.text_y) == (mark.x + 3, mark.y - 4)
    assert mark.interval == ((made.bottom + made.top) / 2, made.top)
    assert [tick.label for tick in made.x_ticks] == ["0", "50", "100"]
    assert [tick.at for tick in made.y_ticks] == [made.bottom, mark.interval[0], made.top]
    assert curve.style == "dashed"


def test_without_a_step_upwards_equal_ways_are_equal_ratios():
    axes = Axes(x=(0.0, 1.0), y=(10.0, 1000.0), x_step=0.5, x_label="h", y_label="p")
    made = plot(axes, marks=[Mark(x=0.5, y=100.0)])
    assert made.marks[0].y == pytest.approx((made.top + made.bottom) / 2)
    assert made.marks[0].interval is None


def test_bars_stand_on_the_foot_of_the_picture_around_their_place():
    made = plot(AXES, bars=[Bar(x=50.0, y=50.0, width=20.0), Bar(x=10.0, y=0.0, width=20.0)])
    half, none = made.bars
    assert half.x + half.width / 2 == pytest.approx((made.left + made.right) / 2)
    assert half.width == pytest.approx((made.right - made.left) / 5)
    assert half.y + half.height == made.bottom
    assert half.height == (made.bottom - made.top) / 2
    assert none.height == 0


def test_places_have_names_and_a_second_row_takes_room_of_its_own():
    named = replace(AXES, x_names=((0.0, "W1"), (100.0, "W9")), below=((50.0, "7"),))
    made, plain = plot(named), plot(AXES)
    assert [(tick.label, tick.at) for tick in made.x_ticks] == [
        ("W1", made.left),
        ("W9", made.right),
    ]
    assert [(tick.label, tick.at) for tick in made.below] == [("7", (made.left + made.right) / 2)]
    assert made.bottom < plain.bottom
    assert plain.below == ()
