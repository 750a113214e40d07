import pytest

from tests.web.test_strip_drawing import value_at
from web.charts import slope


def test_a_slope_falls_where_the_number_falls():
    made = slope(318.0, 214.0, band=(130.0, 260.0))
    ticks = [(tick.label, tick.at) for tick in made.ticks]
    assert made.after > made.before
    read = [value_at(ticks, at) for at in (made.before, made.after, *(made.band or ()))]
    assert read == pytest.approx([318, 214, 260, 130], abs=1)
    assert slope(5.0, 5.0).before == slope(5.0, 5.0).after
