from dataclasses import replace

import pytest

from kb.case.model import FixKind, Option, Origin
from kb.store.repository import JobRepository
from kb.workflow.repair_prices import MOST_PRICED
from tests.factories import a_case
from tests.kb.workflow.test_close import PROVEN, closed, opened
from tests.kb.workflow.test_suggest import ask


def test_the_guess_or_check_line_takes_its_price_from_the_case(shop):
    priced = replace(
        PROVEN,
        options=[
            Option(what="fan", kind=FixKind.REPLACED, price_cents=41200, chosen=True),
            Option(what="leave it", kind=FixKind.DECLINED, price_cents=0),
        ],
    )
    closed(shop, opened(shop), priced)
    found = ask(shop, shop.memory(), "ac cold on the highway, warm when stopped")
    line = found.guess
    assert line is not None
    assert (line.cause, line.repair_cents) == ("condenser_fan_dead", 41200)
    assert line.check == found.checks[0].check
    assert line.check_cents == round(found.checks[0].minutes * 13000 / 60)
    others = [a_case(f"P{at}", origin=Origin.ANOTHER_SHOP) for at in range(MOST_PRICED)]
    shop.write(lambda unit: unit.jobs.add_many(others, verb="take in"))
    crowded = ask(shop, shop.memory(), "ac cold on the highway, warm when stopped").guess
    assert crowded is not None
    assert crowded.repair_cents == 41200


def test_without_a_price_there_is_no_guess_or_check_line(shop):
    closed(shop, opened(shop))
    assert ask(shop, shop.memory()).guess is None


def test_a_price_is_asked_of_the_store_once_until_a_job_is_closed(shop, monkeypatch):
    options = [Option(what="fan", kind=FixKind.REPLACED, price_cents=41200, chosen=True)]
    closed(shop, opened(shop), replace(PROVEN, options=options))
    kept, asked = shop.memory(), "ac cold on the highway, warm when stopped"
    first = ask(shop, kept, asked).guess
    assert first is not None
    monkeypatch.setattr(JobRepository, "some", lambda self, ids: pytest.fail("asked again"))
    assert ask(shop, kept, f"{asked}, no codes").guess.repair_cents == first.repair_cents == 41200
    monkeypatch.undo()
    options = [replace(options[0], price_cents=61200)]
    closed(shop, opened(shop), replace(PROVEN, options=options))
    assert ask(shop, kept, asked).guess.repair_cents == (41200 + 61200) / 2
