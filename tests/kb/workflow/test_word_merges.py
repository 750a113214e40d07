from dataclasses import replace

import pytest

from kb.case.casefile import read_case, write_case
from kb.errors import NotFoundError, TermError
from kb.workflow.undo import undo_last
from kb.workflow.word_merges import (
    case_counts,
    meaning_of,
    merge,
    pieces_of,
    suggestions,
    take_out,
    unmerge,
)
from kb.workflow.words import (
    NewCheck,
    NewQuantity,
    add_cause,
    add_check,
    add_quantity,
    add_synonym,
    set_aside,
)
from tests.kb.workflow.conftest import WORDS
from tests.kb.workflow.test_close import PROVEN, closed, opened
from tests.kb.workflow.test_suggest import ask
from tests.kb.workflow.test_words import closed_with, words


def merged(shop, key, into, kind="cause"):
    shop.write(merge, kind, key, into=into)


def test_the_cases_of_a_merged_cause_count_for_the_one_that_stands_for_it(shop):
    key = shop.write(add_cause, "Cooling blower up front is kaput", system="hvac")
    other = closed(shop, opened(shop))
    case = closed_with(shop, key)
    memory = shop.memory()
    before = {row.cause: row for row in ask(shop, memory).causes}
    assert before[key].cases == (case.id,)
    merged(shop, key, "condenser_fan_dead")
    after = {row.cause: row for row in ask(shop, memory).causes}
    assert key not in after
    assert set(after["condenser_fan_dead"].cases) == {case.id, other.id}
    assert after["condenser_fan_dead"].chance > before["condenser_fan_dead"].chance
    assert {row.cause for row in ask(shop, memory).matches} == {"condenser_fan_dead"}


def test_the_case_keeps_what_was_written_and_unmerging_brings_it_back(shop):
    key = shop.write(add_cause, "Cooling blower up front is kaput", system="hvac")
    case = closed_with(shop, key)
    merged(shop, key, "condenser_fan_dead")
    assert shop.get(case.id) == case
    assert words(shop).cause_name(key) == "Condenser fan or one speed dead"
    assert read_case(write_case(case), words=words(shop)).cause == key
    shop.write(unmerge, "cause", key)
    assert words(shop).cause_name(key) == "Cooling blower up front is kaput"
    assert ask(shop, shop.memory()).matches[0].cause == key
    with pytest.raises(NotFoundError, match="expected a merged cause"):
        shop.write(unmerge, "cause", key)


def test_a_closed_job_of_a_merged_cause_can_still_be_undone(shop):
    key = shop.write(add_cause, "Cooling blower up front is kaput", system="hvac")
    case = closed_with(shop, key)
    shop.write(lambda unit: unit.jobs.save(replace(case, lines=("x",)), verb="add"))
    merged(shop, key, "condenser_fan_dead")
    undone = shop.write(undo_last, case.id, words=words(shop))
    assert undone.job.cause == key


def test_a_merge_back_in_a_circle_is_refused_and_nothing_is_kept(shop):
    first = shop.write(add_cause, "Alpha thing", system="hvac")
    second = shop.write(add_cause, "Omega stuff", system="hvac")
    merged(shop, first, second)
    with pytest.raises(TermError) as refused:
        merged(shop, second, first)
    assert "into" in refused.value.by_field
    assert words(shop).shop.merged == {("cause", first): second}


@pytest.mark.parametrize(
    ("kind", "key", "into", "error"),
    [
        ("cause", "overcharge", "overcharge", TermError),
        ("cause", "overcharge", "no_such", NotFoundError),
        ("cause", "no_such", "overcharge", NotFoundError),
        ("check", "coil_swap", "plug_look", TermError),
        ("quantity", "vent_temp", "ambient_temp", TermError),
        ("family", "a", "b", TermError),
        ("rumour", "a", "b", TermError),
    ],
)
def test_what_cannot_be_merged_is_refused(shop, kind, key, into, error):
    with pytest.raises(error):
        merged(shop, key, into, kind)
    assert words(shop) is WORDS


def test_a_cause_that_ships_can_be_merged_and_parted_again(shop):
    case = closed(shop, opened(shop))
    merged(shop, "condenser_fan_dead", "condenser_fouled")
    assert ask(shop, shop.memory()).matches[0].cause == "condenser_fouled"
    shop.write(unmerge, "cause", "condenser_fan_dead")
    assert ask(shop, shop.memory()).matches[0].cause == case.cause


def test_a_shops_own_check_and_quantity_go_into_those_that_ship(shop):
    new = NewQuantity(name="Snout warmth", system="hvac", unit="degC", hard=("-20", "90"))
    shop.write(add_quantity, new)
    shop.write(add_check, NewCheck(name="Fog it", systems=["hvac"], outcomes="no change, odd"))
    merged(shop, "snout_warmth", "vent_temp", "quantity")
    merged(shop, "fog_it", "condenser_air_boost", "check")
    now = words(shop)
    assert now.quantity_now("snout_warmth").key == "vent_temp"
    assert now.check_name("fog_it") == now.checks["condenser_air_boost"].name
    assert now.shop.checks == ()


def test_a_term_out_of_use_stays_known_to_its_cases_and_comes_back(shop):
    key = shop.write(add_cause, "Leaf nest", system="hvac")
    case = closed_with(shop, key)
    shop.write(take_out, "cause", key)
    assert key not in words(shop).causes
    assert words(shop).cause_name(key) == "Leaf nest"
    assert ask(shop, shop.memory()).matches[0].case == case.id
    shop.write(take_out, "cause", key, back=True)
    assert words(shop).causes[key].name == "Leaf nest"


def test_what_a_word_means_cannot_be_taken_out_from_under_it(shop):
    new = NewCheck(name="Flap wiggle", systems=["hvac"], outcomes="loose, tight")
    key = shop.write(add_check, new)
    shop.write(add_synonym, "wobbled", means="check", what=key)
    with pytest.raises(TermError, match="'wobbled'"):
        shop.write(take_out, "check", key)
    assert key in words(shop).checks


def test_jobs_are_counted_at_what_stands_for_their_cause(shop):
    key = shop.write(add_cause, "Cooling blower up front is kaput", system="hvac")
    closed_with(shop, key)
    closed(shop, opened(shop), PROVEN)
    merged(shop, key, "condenser_fan_dead")
    with shop.store.read() as unit:
        written = unit.terms.counts("cause")
        assert case_counts(written, "cause", words(shop)) == {"condenser_fan_dead": 2}


def test_suggestions_are_the_nearest_spellings():
    found = suggestions(["kompresor", "zzzzqqqq"], WORDS)
    assert (found["kompresor"][0].means, found["kompresor"][0].what) == ("part", "ac_compressor")
    assert len(found["kompresor"]) <= 4
    assert found["zzzzqqqq"] == ()


def test_suggestions_and_what_is_unclear_follow_the_shops_words(shop):
    assert pieces_of("kompresor plonk", words(shop)) == ("kompresor plonk",)
    assert suggestions(["plonk"], words(shop))["plonk"] == ()
    shop.write(add_cause, "Plonker stuck", system="hvac", part="Plonke")
    shop.write(add_synonym, "kompresor", means="part", what="ac_compressor")
    assert pieces_of("kompresor plonk", words(shop)) == ("plonk",)
    assert [row.what for row in suggestions(["plonk"], words(shop))["plonk"]] == ["plonke"]
    shop.write(set_aside, "plonk")
    assert pieces_of("kompresor plonk", words(shop)) == ()


def test_a_typed_meaning_is_a_term_by_its_name_or_else_a_word():
    assert meaning_of(" Air not cold  at full cold", WORDS) == ("symptom", "ac_not_cold")
    assert meaning_of("Whatsit", WORDS) == ("word", "whatsit")
