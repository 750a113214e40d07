from dataclasses import replace
from io import BytesIO

import pytest

from kb.case.model import Complaint, Origin
from kb.errors import PackError
from kb.store.case_lists import CaseFilter
from kb.workflow.packs.container import PackFile
from kb.workflow.packs.make import OWN, draft_pack, is_sender, sender_of
from tests.factories import a_case, a_closing, a_job
from tests.kb.workflow.packs.conftest import MADE, given


def drafted(shop, **known):
    with shop.store.read() as unit:
        return draft_pack(unit, **known)


def put(shop, *jobs):
    shop.write(lambda unit: unit.jobs.add_many(jobs, verb="import"))


def test_what_goes_is_shown_with_what_is_held_back_and_nothing_is_written(shop):
    said = Complaint(said="Mrs Hale, 555-0134: blows warm")
    put(shop, a_case("J1", complaint=said), a_case("J2", "our_own_cause"), a_job("J3"))
    before = shop.history("J1")
    draft = drafted(shop)
    assert [row.of for row in draft.going] == ["J1"]
    assert dict(draft.kinds) == {"person": 1, "phone number": 1}
    assert [(row.of, row.held_back) for row in draft.held_back] == [
        ("J2", "its cause is a word of this shop alone")
    ]
    assert shop.history("J1") == before


def test_only_proven_cases_of_this_shop_go(shop):
    foreign = [
        a_case(f"X{at}", origin=origin) for at, origin in enumerate(Origin) if origin not in OWN
    ]
    overturned = a_case("J8", closing=a_closing(overturned_by="J1"))
    put(shop, a_case("J1"), overturned, a_case("J9", closing=a_closing(proofs=())), *foreign)
    draft = drafted(shop)
    assert [row.of for row in draft.going] == ["J1"]
    assert draft.no_case == 2
    assert [row.of for row in drafted(shop, wanted=CaseFilter()).going] == ["J1"]


def test_what_the_sender_keeps_back_and_what_was_not_asked_for_stays(shop):
    put(shop, a_case("J1"), a_case("J2", "starter_worn", system="starting_charging"))
    assert [row.of for row in drafted(shop, without=("J1",)).going] == ["J2"]
    wanted = CaseFilter(origins=OWN, system="hvac")
    assert [row.of for row in drafted(shop, wanted=wanted).going] == ["J1"]


def test_names_of_all_who_ever_wrote_are_blanked(shop):
    shop.write(lambda unit: unit.people.add("Quilla Ferrand", "technician"))
    body = "Quilla drove it, Ines listened"
    put(shop, a_case("J1", body=body))
    (row,) = drafted(shop).going
    assert "Quilla" not in row.job.body
    assert "Ines" not in row.job.body


def test_two_cases_alike_go_as_one(shop):
    one = a_case("J1")
    put(shop, one, replace(one, id="J2"))
    assert len(drafted(shop).going) == 1


def test_the_file_names_the_shop_as_it_wishes_and_knows_its_own_again(other, shop):
    pack = PackFile(BytesIO(given(other)))
    assert pack.manifest.shop == "Northgate Garage"
    with other.store.read() as unit:
        assert is_sender(unit, pack.manifest.sender)
    assert other.write(sender_of) == pack.manifest.sender
    with shop.store.read() as unit:
        assert not is_sender(unit, pack.manifest.sender)


def test_a_shop_without_a_case_has_nothing_to_give(shop):
    with pytest.raises(PackError, match="got 0"):
        drafted(shop).file("A", MADE, sender="s")


def test_progress_counts_every_job(shop):
    put(shop, *(a_case(f"J{at}") for at in range(3)))
    told: list[int] = []
    drafted(shop, progress=told.append)
    assert sum(told) == 3
