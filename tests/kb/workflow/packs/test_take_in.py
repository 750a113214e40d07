from dataclasses import replace
from datetime import date
from io import BytesIO

import pytest

from kb.case.casefile import write_case
from kb.case.model import Option, Origin, Proof, Tried
from kb.case.parts import FittedPart
from kb.errors import PackError
from kb.workflow.jobs import draft_job
from kb.workflow.packs.anonymous import pack_id
from kb.workflow.packs.confirm import confirm_here
from kb.workflow.packs.take_in import TAKEN_IN, new_in, read_pack, take_in
from tests.factories import a_job
from tests.kb.workflow.packs.conftest import a_given_case, given, packed, read


def test_the_cases_of_another_shop_are_taken_in_once(shop, other):
    content = given(other)
    pack = read(content)
    assert len(pack.jobs) == 2
    assert pack.refused == ()
    assert shop.write(take_in, pack) == 2
    assert shop.write(take_in, read(content)) == 0
    with shop.store.read() as unit:
        taken = unit.jobs.closed_jobs()
        assert new_in(unit, pack) == ()
        assert unit.jobs.verify_hashes() == ()
    assert {job.origin for job in taken} == {Origin.ANOTHER_SHOP}
    (line,) = shop.history(taken[0].id)
    assert (line.verb, line.what) == (TAKEN_IN, "given by Northgate Garage")


def test_a_case_confirmed_here_stays_confirmed_when_the_pack_comes_again(shop, other):
    content = given(other)
    shop.write(take_in, read(content))
    key = read(content).jobs[0].id
    shop.write(confirm_here, key)
    assert shop.write(take_in, read(content)) == 0
    assert shop.get(key).origin is Origin.CONFIRMED_HERE


def test_a_case_that_held_meanwhile_is_the_same_case(shop, other):
    shop.write(take_in, read(given(other)))
    other.write(lambda unit: unit.held.mark(["J000002"], what="no comeback in 90 days"))
    assert shop.write(take_in, read(given(other))) == 0


def test_what_was_taken_in_is_found_at_once_as_from_another_shop(shop, other):
    shop.write(take_in, read(given(other)))
    job = draft_job("warm at lights, cold once rolling", words=shop.words, today=shop.today).job
    found = shop.memory().suggest(job)
    assert {row.origin for row in found.matches} == {Origin.ANOTHER_SHOP}


def test_a_shop_refuses_its_own_pack_and_passes_on_nothing_that_it_was_given(shop, other):
    with pytest.raises(PackError, match="made here"):
        other.write(take_in, read(given(other)))
    shop.write(take_in, read(given(other)))
    with pytest.raises(PackError, match="got 0"):
        given(shop)


def with_closing(job, **changes):
    return replace(job, closing=replace(job.closing, **changes))


BROKEN = {
    "a VIN": lambda job: replace(job, vehicle=replace(job.vehicle, vin="1M8GDM9AXKP042788")),
    "an invoice": lambda job: replace(job, invoice="7"),
    "a link": lambda job: replace(job, comeback_of="J1"),
    "an exact day": lambda job: replace(job, opened=date(2026, 4, 30)),
    "an odometer": lambda job: replace(job, vehicle=replace(job.vehicle, odometer=98_412.0)),
    "a price": lambda job: with_closing(job, options=(Option(what="fan", price_cents=9500),)),
    "a cost": lambda job: replace(job, tried=(Tried(part="relay", cost_cents=100),)),
    "a supplier": lambda job: with_closing(job, parts=(FittedPart(part="fan", supplier="N"),)),
    "a photo": lambda job: with_closing(job, proofs=(Proof(method="seen", photo="0" * 64),)),
    "an own origin": lambda job: replace(job, origin=Origin.SHOP),
    "a confirmed origin": lambda job: replace(job, origin=Origin.CONFIRMED_HERE),
    "an overturning job": lambda job: with_closing(job, overturned_by="J1"),
    "no proof": lambda job: with_closing(job, proofs=()),
    "no cause": lambda job: with_closing(job, cause=None),
    "a close in the future": lambda job: with_closing(job, closed=date(2027, 1, 1)),
    "a close before it opened": lambda job: with_closing(job, closed=date(2020, 1, 1)),
}


@pytest.mark.parametrize("what", BROKEN)
def test_a_case_that_no_pack_may_hold_is_refused_with_its_reason(shop, what):
    good, wrong = a_given_case(), BROKEN[what](a_given_case(cause="condenser_fouled"))
    wrong = replace(wrong, id=pack_id(wrong))
    pack = read(packed(good, wrong))
    assert [job.id for job in pack.jobs] == [good.id]
    (refused,) = pack.refused
    assert refused.id == wrong.id
    assert refused.reason.startswith("expected ")
    assert shop.write(take_in, pack) == 1


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("+++\n", "a second"),
        ("+++\nid = 1\n+++\n", "opened as a date"),
        ("+++\nid = \n+++\n", "line 2: expected TOML"),
        (write_case(a_given_case()).replace("condenser_fan_dead", "no_such_cause"), "a cause"),
        (write_case(a_given_case()).replace("lines = ", "line = "), "expected one of"),
        (write_case(a_job()), "a closed case"),
        (write_case(a_given_case()).replace("blows warm", "blows cold"), "the id that follows"),
    ],
)
def test_an_entry_that_is_no_case_is_refused_and_the_others_are_taken(text, reason):
    good = a_given_case(cause="condenser_fouled")
    pack = read(packed(texts={good.id: write_case(good), "P" + "0" * 16: text}))
    assert [job.id for job in pack.jobs] == [good.id]
    assert reason in pack.refused[0].reason


def test_progress_says_how_far_it_is(other):
    told = []
    read_pack(BytesIO(given(other)), today=date(2026, 12, 1), progress=lambda *at: told.append(at))
    assert told == [(1, 2), (2, 2)]
