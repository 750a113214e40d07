import pytest

from web.charts import LINE, Dot, Lane, dot_strip, slope


def value_at(ticks, place):
    """Read a place back by the first and last tick of its axis."""
    first, last = ticks[0], ticks[-1]
    low, high = (float(tick.label.replace("−", "-")) for tick in (first, last))
    return low + (place - first.at) / (last.at - first.at) * (high - low)


def lane(*values, **changes):
    row = {"shape": "before", "label": "this car", "said": "x"} | changes
    return Lane(dots=tuple(Dot(value=value) for value in values), **row)


def test_every_dot_reads_back_as_its_value():
    made = dot_strip([lane(318.0), lane(209.0, 214.0)], axis_label="psi", band=(130.0, 260.0))
    read = [value_at(made.ticks, dot.x) for row in made.lanes for dot in row.dots]
    assert read == pytest.approx([318, 209, 214], abs=0.05)
    assert [value_at(made.ticks, end) for end in made.band or ()] == pytest.approx(
        [130, 260], abs=0.05
    )
    assert made.axis_label == "psi"


def test_a_middle_half_reads_back_as_its_quartiles():
    made = dot_strip([lane(half=(2.5, 4.0, 5.5))], axis_label="V")
    assert [value_at(made.ticks, end) for end in made.lanes[0].half or ()] == pytest.approx(
        [2.5, 4.0, 5.5], abs=0.01
    )
    assert made.lanes[0].dots == ()


def test_an_open_reading_runs_to_the_end_of_the_axis_on_its_open_side():
    dots = (Dot(value=5.0, bound="under"), Dot(value=9.0, bound="over"), Dot(value=7.0))
    made = dot_strip([Lane(shape="before", label="", said="", dots=dots)], axis_label="V")
    under, over, plain = made.lanes[0].dots
    assert (under.start, under.end) == (made.axis[0], under.x)
    assert (over.start, over.end) == (over.x, made.axis[1])
    assert plain.start == plain.end == plain.x
    assert under.x - under.start > 10
    assert over.end - over.x > 10


def test_a_range_is_as_wide_as_typed():
    dot = Dot(value=59.0, low=58.0, high=60.0)
    made = dot_strip([Lane(shape="before", label="", said="", dots=(dot,))], axis_label="°F")
    placed = made.lanes[0].dots[0]
    assert [value_at(made.ticks, at) for at in (placed.start, placed.end)] == pytest.approx(
        [58, 60], abs=0.01
    )


def test_without_a_number_there_is_no_picture():
    with pytest.raises(ValueError, match="at least one number"):
        dot_strip([lane()], axis_label="V")


def test_an_axis_does_not_begin_at_zero_unless_a_value_is_there():
    made = dot_strip([lane(13.6), lane(14.1)], axis_label="V")
    assert min(float(tick.label) for tick in made.ticks) > 13


def test_lanes_stand_below_each_other_inside_the_picture():
    made = dot_strip([lane(1.0)] * 5, axis_label="V")
    heights = [row.y for row in made.lanes]
    assert heights == sorted(set(heights))
    assert heights[-1] < made.axis_y < made.height


def test_a_long_label_runs_on_below_itself_whole_and_clear_of_the_values():
    label = "2 cases: Condenser or radiator face blocked with dirt"
    long, short = dot_strip(
        [lane(1.0, label=label, said="1, 2, 3"), lane(1.0)], axis_label="V"
    ).lanes
    assert " ".join(line.text for line in long.lines) == label
    assert all(len(line.text) + len(long.said) < LINE for line in long.lines)
    assert [line.y for line in long.lines] == sorted({line.y for line in long.lines})
    assert long.lines[-1].y < long.y < short.lines[0].y


def test_a_slope_falls_where_the_number_falls():
    made = slope(318.0, 214.0, band=(130.0, 260.0))
    assert made.after > made.before
    read = [value_at(made.ticks, at) for at in (made.before, made.after, *(made.band or ()))]
    assert read == pytest.approx([318, 214, 260, 130], abs=1)
    assert slope(5.0, 5.0).before == slope(5.0, 5.0).after
