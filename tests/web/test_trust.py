import re
from dataclasses import replace

import pytest

from kb.diagnosis.measure import wilson_interval
from kb.diagnosis.reliability import Band
from kb.workflow.trust import TRUST, keep_trust, measure_trust
from tests.web.test_cli import empty, terminal
from tests.web.test_pictures import all_of, named, reader, table_after
from web.trust_picture import trust_picture

__all__ = ["empty", "terminal"]


def band(low, high, said, right, answers):
    return Band(
        low=low, high=high, answers=answers, said=said, right=right,
        interval=wilson_interval(right, answers),
    )  # fmt: skip


BANDS = (band(0.6, 0.8, 0.71, 9, 18), band(0.9, 1.0, 0.94, 39, 46))


def test_before_anything_was_measured_the_page_says_what_to_run(site):
    text = site.page("/trust")
    assert "Not measured yet: run <code>baybook rebuild</code>" in text
    assert "<svg" not in text


def measured(site, **changes):
    memory = site.memory()
    keep_trust(site.home, measure_trust(memory, today=site.today, **changes))
    return site.page("/trust")


def test_what_was_measured_is_shown_in_words_picture_and_table(site):
    site.put(*(replace(site.get("S1"), id=f"S1{number}") for number in range(3)))
    text = measured(site)
    assert "closed jobs were asked again as they were first written up" in text
    svg, table = named(text, "All jobs asked"), table_after(text, "All jobs asked")
    dots = all_of(svg, "mark")
    assert len(dots) == len(table) >= 1
    at = reader(svg, "x")
    means = [float(re.findall(r"(\d+)%", row)[0]) for row in table.values()]
    assert [at(dot.get("cx")) for dot in dots] == pytest.approx(means, abs=0.6)


def test_a_measure_of_another_state_says_so(site):
    assert "have changed since" not in measured(site)
    site.put(replace(site.get("S1"), id="S19"))
    assert "have changed since" in site.page("/trust")


def test_bands_are_points_with_their_interval_and_their_count():
    made = trust_picture("All", BANDS)
    points = [mark for mark in made.chart.marks if mark.shape == "before"]
    across = {tick.label: tick.at for tick in made.chart.x_ticks}
    up = {tick.label: tick.at for tick in made.chart.y_ticks}
    assert points[0].y == pytest.approx((up["40"] + up["60"]) / 2, abs=0.01)
    assert across["60"] < points[0].x < across["80"] < points[1].x < across["100"]
    low, high = wilson_interval(9, 18)
    place = up["0"] + (up["100"] - up["0"]) * low
    assert points[0].interval == pytest.approx(
        (place, up["0"] + (up["100"] - up["0"]) * high), abs=0.01
    )
    assert [mark.label for mark in made.chart.marks if mark.label] == ["9 of 18", "39 of 46"]
    assert made.rows[0] == ("60% to 80%", "18", "71%", "9 of 18 (50%)", "29% to 71%")


def test_the_answers_lead_to_the_page(site):
    job = site.opened()
    assert '<a href="/trust">How far to trust these chances</a>' in site.page(f"/job/{job}")


def test_a_rebuild_measures_once_for_each_state_of_the_closed_jobs(terminal):
    first = terminal.said("rebuild")
    assert "measuring the chances on closed jobs" in first
    assert "chances measured on " in first
    assert (terminal.home / TRUST).is_file()
    assert "chances measured before, on " in terminal.said("rebuild")


def test_measuring_by_hand_is_kept_for_the_page(empty):
    assert not (empty.home / TRUST).exists()
    empty.said("measure")
    assert (empty.home / TRUST).is_file()
