import pytest
from hypothesis import given
from hypothesis import strategies as st

from web.scales import (
    Scale,
    log_ticks,
    places,
    round_ends,
    round_step,
    scale_over,
    tick_label,
    ticks_of,
)

NUMBERS = st.floats(-1e6, 1e6, allow_nan=False).map(lambda value: round(value, 3))


@given(NUMBERS, NUMBERS)
def test_round_ends_enclose_the_span_and_do_not_waste_the_axis(one, other):
    low, high = sorted((one, other))
    first, last, step = round_ends(low, high)
    assert first <= low + 1e-6 * step
    assert high - 1e-6 * step <= last
    assert first < last
    if high > low:
        assert last - first <= (high - low) + 2 * step / 5 + 1e-6 * step


@given(st.floats(1e-3, 1e6))
def test_a_step_is_one_two_or_five_and_gives_few_ticks(width):
    step = round_step(width)
    assert float(f"{step:e}".partition("e")[0]) in {1.0, 2.0, 5.0}
    assert width / step <= 5 + 1e-9


@given(st.lists(NUMBERS, min_size=1, max_size=5))
def test_every_tick_lies_where_its_label_says(values):
    scale, ticks = scale_over(values, 20.0, 340.0)
    assert ticks
    for tick in ticks:
        value = float(tick.label.replace("−", "-"))
        assert tick.at == pytest.approx(scale.at(value), abs=0.02)
        assert 20.0 - 0.02 <= tick.at <= 340.0 + 0.02


@given(NUMBERS, NUMBERS, NUMBERS)
def test_a_place_is_the_same_by_scale_and_by_function(one, other, value):
    low, high, _ = round_ends(*sorted((one, other)))
    scale = Scale(low=low, high=high, start=20.0, end=340.0)
    assert places(low, high, start=20.0, end=340.0)(value) == scale.at(value)


def test_equal_ratios_are_equal_ways():
    scale = Scale(low=10.0, high=1000.0, start=0.0, end=200.0, log=True)
    assert (scale.at(10.0), scale.at(100.0), scale.at(1000.0)) == (0.0, 100.0, 200.0)
    assert [tick.label for tick in log_ticks(scale)] == [
        "10", "20", "50", "100", "200", "500", "1000",
    ]  # fmt: skip


def test_ticks_run_through_zero_without_a_minus_before_it():
    scale = Scale(low=-0.3, high=0.3, start=0.0, end=60.0)
    assert [tick.label for tick in ticks_of(scale, 0.2)] == ["−0.2", "0", "0.2"]
    assert tick_label(-0.0) == "0"
