import pytest

from kb.case.iso_week import IsoWeek
from kb.workflow.week.rows import WeekRow
from tests.web.busy_week import pace_of, weeks_of
from web.week_charts import picture_of

WEEK = IsoWeek.parse("2026-W47")


def drawn(kind, **numbers):
    """Return the picture of a row, which must be there."""
    made = picture_of(WeekRow(kind=kind, numbers=numbers))
    assert made is not None
    return made


def value_at(chart, y):
    """Return the number at a height, read off the picture's own axis."""
    (low, high) = chart.y_ticks[0], chart.y_ticks[-1]
    share = (y - low.at) / (high.at - low.at)
    return float(low.label) + share * (float(high.label) - float(low.label))


def heights(chart, style):
    """Return the numbers that the lines of a style run through."""
    return [
        value_at(chart, float(point.split(",")[1]))
        for curve in chart.curves
        if curve.style == style
        for point in curve.points.split()
    ]


def test_bars_lines_and_table_show_the_same_numbers():
    weeks = weeks_of(WEEK)
    made = drawn("rising_cause", weeks=weeks, recent_weeks=8)
    counts = [row["count"] for row in weeks]
    bars = [value_at(made.chart, bar.y) for bar in made.chart.bars]
    assert bars == pytest.approx([count for count in counts if count], abs=0.01)
    assert heights(made.chart, "dashed") == pytest.approx([0.16] * 52, abs=0.01)
    assert heights(made.chart, "thin") == pytest.approx([2.0] * 52, abs=0.01)
    assert [row[1] for row in made.rows] == [str(count) for count in counts]
    assert made.rows[-1] == ("W47", "2", "0.2", "2")
    assert made.heads == ("Week", "Came in", "Expected", "Most by luck")
    assert made.told.endswith("2026-W46: 3; 2026-W47: 2")
    assert "the last 8 weeks together" in made.about[0]


def test_only_a_week_above_the_limit_carries_its_number():
    made = drawn("rising_pair", weeks=weeks_of(WEEK))
    labels = [mark.label for mark in made.chart.marks if mark.label.isdigit()]
    assert labels == ["3"]


def test_weeks_are_named_and_the_newest_always_is():
    made = drawn("rising_cause", weeks=weeks_of(WEEK))
    assert made.chart.x_ticks[-1].label == "W47"
    bars = made.chart.bars
    assert made.chart.x_ticks[-1].at == pytest.approx(bars[-1].x + bars[-1].width / 2)


def test_a_week_in_which_nothing_was_recorded_breaks_the_lines():
    weeks = weeks_of(WEEK)
    weeks[5] |= {"expected": None, "upper": None}
    made = drawn("rising_cause", weeks=weeks)
    assert [curve.style for curve in made.chart.curves] == ["dashed", "dashed", "thin", "thin"]
    assert made.rows[5][2:] == ("–", "–")


def test_counts_without_limits_have_no_lines_and_say_nothing_of_them():
    weeks = [{"week": row["week"], "count": row["count"]} for row in weeks_of(WEEK)]
    made = drawn("rising_complaint", weeks=weeks)
    assert made.chart.curves == ()
    assert made.heads == ("Week", "Came in")
    assert "Dashed" not in made.about[0]
    assert not [mark for mark in made.chart.marks if mark.label]


def test_days_are_points_with_their_middle_half_and_few_jobs_have_none():
    weeks = pace_of(WEEK)
    made = drawn("pace", weeks=weeks)
    known = [row for row in weeks if row["middle"] is not None]
    assert 0 < len(known) < len(weeks)
    read = [
        (value_at(made.chart, mark.y), *(value_at(made.chart, end) for end in mark.interval))
        for mark in made.chart.marks
    ]
    said = [(row["middle"], row["low"], row["high"]) for row in known]
    assert read == [pytest.approx(row, abs=0.05) for row in said]
    assert len(made.rows) == len(weeks)
    assert made.rows[4] == ("W26", "3", "–", "–", "–")


def test_rows_without_weeks_and_kinds_without_a_picture_have_none():
    assert picture_of(WeekRow(kind="rising_cause")) is None
    assert picture_of(WeekRow(kind="twin")) is None
    assert picture_of(WeekRow(kind="answers_helped", numbers={"bands": []})) is None
    few = [{"week": "2026-W47", "jobs": 1, "low": None, "middle": None, "high": None}]
    assert picture_of(WeekRow(kind="pace", numbers={"weeks": few})) is None


HELD = {
    "repairs": 200,
    "times": [10.0, 30.0, 31.0, 90.0],
    "survival": [0.99, 0.97, 0.96, 0.9],
    "low": [0.95, 0.93, 0.92, 0.82],
    "high": [0.998, 0.99, 0.985, None],
    "at_risk": [180, 150, 148, 40],
}


def test_repairs_that_hold_go_down_in_steps_at_their_days():
    made = drawn("lasting", **HELD)
    steps = heights(made.chart, "solid")
    assert steps == pytest.approx([100, 100, 99, 99, 97, 97, 96, 96, 90, 90], abs=0.01)
    low, high = [curve for curve in made.chart.curves if curve.style == "dashed"]
    assert len(low.points.split()) == 10
    # The upper end of the last day is not known: its line ends there.
    assert len(high.points.split()) == 8
    assert made.rows[-1] == ("90", "90.0", "–", "40")
    assert made.rows[0] == ("10", "99.0", "95 to 100", "180")
    assert "begins at 80" in made.about[0]


def test_under_the_days_stands_how_many_were_followed_that_long():
    made = drawn("lasting", **HELD)
    assert [tick.label for tick in made.chart.below] == ["200", "150", "40"]
    places = [tick.at for tick in made.chart.below]
    assert places == sorted(places)
    assert places[0] == made.chart.left


def test_a_long_curve_has_a_short_table_with_its_ends():
    days = [float(at) for at in range(1, 101)]
    many = {
        "repairs": 500, "times": days, "survival": [1 - at / 1000 for at in days],
        "low": [0.8] * 100, "high": [1.0] * 100, "at_risk": list(range(400, 300, -1)),
    }  # fmt: skip
    made = drawn("lasting", **many)
    assert [made.rows[0][0], made.rows[-1][0], len(made.rows)] == ["1", "100", 12]


def test_before_a_repair_came_back_there_is_nothing_to_draw():
    assert picture_of(WeekRow(kind="lasting", numbers=HELD | {"times": []})) is None
    assert picture_of(WeekRow(kind="lasting", numbers={"cause": "x", "fixes": []})) is None


def test_a_curve_reaches_the_end_of_the_holding_period_where_that_can_be_told():
    held = {"share": 0.9, "low": 0.8, "high": 0.95, "at_risk": 31}
    made = drawn("lasting", **HELD | {"holding_days": 120, "held": held})
    assert made.chart.below[-1].label == "31"
    assert made.chart.below[-1].at == made.chart.right
    last = made.chart.curves[0].points.split()[-2:]
    assert {value_at(made.chart, float(point.split(",")[1])) for point in last} == {90.0}
    unknown = drawn("lasting", **HELD | {"holding_days": 120, "held": None})
    assert unknown.chart.below[-1].label == "40"


def test_comebacks_stand_by_the_week_of_the_repair_against_their_common_share():
    weeks = [
        {"week": "2026-W30", "count": 2, "of": 20, "centre": 0.05, "lower": 0, "upper": 4},
        {"week": "2026-W33", "count": 5, "of": 30, "centre": 0.05, "lower": 0, "upper": 4},
    ]
    made = drawn("came_back", weeks=weeks, holding_days=90)
    assert made.heads == ("Week", "Came back", "Expected", "Most by luck")
    assert made.rows == (("W30", "2", "1", "4"), ("W33", "5", "1.5", "4"))
    assert [mark.label for mark in made.chart.marks if mark.label.isdigit()] == ["5"]
    assert "within 90 days" in made.about[0]
    assert picture_of(WeekRow(kind="came_back", numbers={"holding_days": 90})) is None


def test_the_name_of_the_expected_line_never_lies_in_the_bars():
    full = [row | {"count": 1} for row in weeks_of(WEEK)]
    named = [mark.label for mark in drawn("rising_cause", weeks=full).chart.marks]
    assert named == ["most by luck"]


def test_cars_that_all_came_back_on_their_own_day_are_drawn_over_one_day():
    same = {"times": [0.0], "survival": [0.9], "low": [0.7], "high": [0.97], "at_risk": [30]}
    made = drawn("lasting", **HELD | same | {"held": None})
    assert [row[0] for row in made.rows] == ["0"]
