from datetime import timedelta

import pytest
from sqlalchemy import func, select

from kb.case.model import JobState
from kb.store.answers import Gain, ShownAnswer
from kb.store.week_tables import FindingGainRow, ShownAnswerRow
from tests.factories import CLOSED, a_case, a_closing
from tests.kb.store.other_process import NOW

GAIN = Gain(
    ordinal=0, check="fan_air_on_condenser", subject=None, outcome="improves", minutes=4.0,
    bits=-0.25, lead_changed=True,
)  # fmt: skip
SHOWN = ShownAnswer(
    causes=(("condenser_fan_dead", 0.5), (None, 0.25)),
    matches=("S1", "S2"),
    nothing_like_it=True,
    first_check="blower_swap",
    first_subject="relay",
    gains=(GAIN,),
)


@pytest.fixture
def shop(store):
    later = a_closing(closed=CLOSED + timedelta(days=9))
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many([a_case("J1"), a_case("J2", closing=later)], verb="import")
    return store


def keep(store, job_id, shown):
    with store.write("Ines", NOW) as unit:
        unit.answers.keep(job_id, shown)


def closed(store, first=CLOSED, days=0):
    with store.read() as unit:
        return unit.answers.closed(first, first + timedelta(days=days))


def rows(store):
    with store.read() as unit:
        return [
            unit.connection.scalar(select(func.count()).select_from(table))
            for table in (ShownAnswerRow, FindingGainRow)
        ]


def test_what_was_answered_is_read_back_as_it_was_kept(shop):
    keep(shop, "J1", SHOWN)
    assert closed(shop) == {"J1": SHOWN}


def test_only_the_closes_of_the_days_asked_for_are_read(shop):
    keep(shop, "J1", SHOWN)
    keep(shop, "J2", ShownAnswer(causes=((None, 1.0),)))
    assert set(closed(shop)) == {"J1"}
    assert list(closed(shop, days=9)) == ["J1", "J2"]
    assert closed(shop, days=9)["J2"].gains == ()


@pytest.mark.parametrize(("second", "left"), [(SHOWN, [1, 1]), (None, [0, 0])])
def test_a_second_close_takes_the_place_of_the_first(shop, second, left):
    keep(shop, "J1", SHOWN)
    keep(shop, "J1", second)
    assert rows(shop) == left


def test_a_job_that_was_opened_again_is_not_among_the_closed(shop):
    keep(shop, "J1", SHOWN)
    with shop.write("Ines", NOW) as unit:
        unit.jobs.save(a_case("J1", state=JobState.OPEN, closing=None), verb="undo")
    assert not closed(shop, days=9)


def test_the_cases_that_were_shown_and_since_when_are_known(shop):
    with shop.read() as unit:
        assert unit.answers.kept_since() is None
    keep(shop, "J1", SHOWN)
    with shop.read() as unit:
        assert unit.answers.matched(CLOSED, CLOSED) == {"S1", "S2"}
        assert not unit.answers.matched(CLOSED + timedelta(days=1), CLOSED + timedelta(days=9))
        assert unit.answers.kept_since() == NOW.date()
