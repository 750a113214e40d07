"""The week of any shop at all is counted, kept as JSON, said in words and drawn."""

import json
import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from kb.case.iso_week import IsoWeek
from kb.case.model import JobState
from kb.store.answers import Gain, ShownAnswer
from kb.store.engine import default_url, open_store
from kb.workflow.review import Review, count_week
from kb.workflow.week.rows import WeekRow
from kb.workflow.week.seen import Seen
from tests.factories import make_store
from tests.kb.strategies import WORDS, closings, few, jobs, keys
from web.week_page import WeekAsked, matters_shown, paper_rows, shown, topics
from web.week_text import week_json, week_lines

WEEK = IsoWeek(date(2026, 11, 16))
NOW = datetime(2026, 11, 23, 7, tzinfo=UTC)
# Days around which the copies of a job are closed; most of them where the week looks.
DAYS = st.sampled_from([
    *(WEEK.sunday - timedelta(days=back) for back in (0, 0, 3, 9, 20, 40, 55, 70, 120, 400, 1000)),
    date.min, date(1, 1, 2), date.max,
])  # fmt: skip
CAUSES = st.none() | st.sampled_from(["condenser_fan_dead", "thermostat_open", "not_a_cause"])
chances = st.floats(0, 1, allow_nan=False)


@st.composite
def answers(draw):
    """Draw what stood on the page at a close."""
    gains = st.builds(
        Gain,
        ordinal=st.integers(0, 3),
        check=keys(WORDS.checks) | st.just("not_a_check"),
        subject=st.none() | st.just("left"),
        outcome=st.sampled_from(["normal", "not_done", "x"]),
        minutes=st.none() | st.floats(0, 1e6, allow_nan=False),
        bits=st.floats(-3, 3, allow_nan=False),
        lead_changed=st.booleans(),
    )
    found = draw(few(gains, 3))
    return ShownAnswer(
        causes=draw(few(st.tuples(CAUSES, chances), 4)),
        nothing_like_it=draw(st.booleans()),
        first_check=draw(st.none() | keys(WORDS.checks)),
        gains=tuple(replace(gain, ordinal=at) for at, gain in enumerate(found)),
    )


def moved(day, days):
    """Return a day so many days away, within what a date can hold."""
    at = day.toordinal() + days
    return date.fromordinal(min(max(at, date.min.toordinal()), date.max.toordinal()))


@st.composite
def copies(draw, name):
    """Draw one whole job, and many like it on other days."""
    first, many, step = draw(jobs()), draw(st.integers(1, 40)), draw(st.sampled_from([0, 1, 7, 9]))
    closing = draw(st.none() | closings)
    cause, day, stay = draw(CAUSES), draw(DAYS), draw(st.integers(-9, 60))
    back, vin = draw(st.sampled_from([None, 0, 1, -1, 99])), draw(st.sampled_from([None, "V", ""]))
    closing = closing and replace(closing, cause=draw(st.sampled_from([cause, closing.cause])))
    shown_then = draw(st.none() | answers())
    return [
        (
            replace(
                first,
                id=f"{name}{at:03}",
                invoice=None,
                opened=moved(day, -step * at - stay),
                state=JobState.CLOSED if closing else JobState.OPEN,
                comeback_of=None if back is None else f"{name}{at + back:03}",
                vehicle=replace(first.vehicle, vin=f"V{name}{at}" if vin == "" else vin),
                closing=closing and replace(closing, closed=moved(day, -step * at)),
            ),
            shown_then,
        )
        for at in range(many)
    ]


@st.composite
def shops(draw):
    """Draw the jobs of a shop, each with what was answered at its close."""
    return [row for name in "ABCDE"[: draw(st.integers(1, 5))] for row in draw(copies(name))]


def counted(shop):
    """Return what a week of a shop says, as it is kept."""
    with tempfile.TemporaryDirectory() as folder:
        url = default_url(Path(folder))
        make_store(url)
        with open_store(url) as store:
            with store.write("Ines", NOW) as unit:
                for job, answer in shop:
                    unit.jobs.add(job, verb="close")
                    if job.closing:
                        unit.answers.keep(job.id, answer)
            with store.read() as unit:
                return json.dumps(count_week(Seen(unit=unit, week=WEEK, words=WORDS)))


@pytest.mark.filterwarnings("ignore:Generating overly large repr")
@settings(
    max_examples=15,
    # Making a whole shop smaller takes minutes.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(shops())
def test_any_shop_has_a_week_that_is_kept_said_and_drawn(shop):
    body = json.loads(counted(shop))
    rows = tuple(WeekRow.from_json(row) for row in body["rows"])
    assert [row.as_json() for row in rows] == body["rows"]
    assert len({row.key for row in rows}) == len(rows)
    review = Review(week=WEEK, made_at=NOW, jobs=body["jobs"], cases=body["cases"], rows=rows)
    told = topics(review, WORDS)
    asked = WeekAsked(week=WEEK, today=NOW.date(), first=WEEK)
    assert 1 <= paper_rows(told) <= 8
    assert len(matters_shown(review, WORDS)) <= 3
    for one in shown(rows, WORDS):
        assert one.said.what
        assert one.picture is None or one.picture.rows
    assert week_lines(review, asked, WORDS)
    json.dumps(week_json(review, asked, WORDS), allow_nan=False)
