import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from kb.case.model import Vehicle
from kb.case.parse import parse
from kb.case.terms import load_vocabulary
from kb.errors import TermError
from kb.retrieval.features import case_features
from kb.workflow.close import close_job
from kb.workflow.jobs import Intake, change_vehicle, draft_job, open_job
from kb.workflow.word_merges import unread_counts
from kb.workflow.words import (
    NewCheck,
    NewQuantity,
    add_cause,
    add_check,
    add_family,
    add_quantity,
    add_synonym,
    set_aside,
    words_of,
)
from tests.kb.workflow.test_close import PROVEN, closed, opened
from tests.kb.workflow.test_suggest import ask

ROOT = Path(__file__).parents[3]
GAP = NewQuantity(name="Flap gap", system="hvac", unit="mm", hard=("0", "20"), typical=("1", "2"))
WIGGLE = NewCheck(name="Flap wiggle", systems=["hvac"], outcomes="loose\ntight", minutes=("2", "4"))


def words(shop):
    with shop.store.read() as unit:
        return words_of(unit)


def refused(shop, verb, *args, **known):
    with pytest.raises(TermError) as caught:
        shop.write(verb, *args, **known)
    return caught.value


# --- causes ---------------------------------------------------------------------------------------


def test_a_cause_that_the_shop_adds_can_be_closed_with_in_the_same_write_and_is_found(shop):
    job = opened(shop)
    with shop.store.write("Ines", shop_now()) as unit:
        key = add_cause(unit, "Leaf nest in the blower", system="hvac", part="blower")
        answers = replace(PROVEN, cause=key)
        close_job(unit, job.id, answers, words=words_of(unit), today=shop.today)
    assert key == "leaf_nest_in_the_blower"
    found = ask(shop, shop.memory())
    assert found.matches[0].cause == key
    assert words(shop).cause_name(key) == "Leaf nest in the blower"
    assert key in {row.cause for row in found.causes if row.cases}


def shop_now():
    from tests.kb.workflow.conftest import NOW  # noqa: PLC0415

    return NOW


def test_a_cause_asks_for_its_system_and_its_name_at_their_fields(shop):
    assert list(refused(shop, add_cause, "Leaf nest", system="").by_field) == ["system"]
    assert list(refused(shop, add_cause, "Leaf nest", system="boats").by_field) == ["system"]
    assert list(refused(shop, add_cause, " ", system="hvac").by_field) == ["name"]
    assert list(refused(shop, add_cause, "Nest", system="hvac", complaints=["x"]).by_field) == [
        "complaints"
    ]
    assert words(shop) is load_vocabulary()


def test_a_cause_like_one_that_is_there_is_asked_about_once(shop):
    error = refused(shop, add_cause, "condenser fan dead", system="hvac")
    assert error.like == ("Condenser fan or one speed dead",)
    key = shop.write(add_cause, "Condenser fan is dead", system="hvac", sure=True)
    assert key == "condenser_fan_is_dead"


def test_a_key_that_is_there_is_never_written_over(shop):
    for name in ("condenser fan dead", "Condenser-fan DEAD!"):
        error = refused(shop, add_cause, name, system="hvac", sure=True)
        assert "not there yet" in error.by_field["name"]
    assert words(shop) is load_vocabulary()


@pytest.mark.parametrize(
    "name",
    [
        "<script>alert(1)</script>",
        "'; DROP TABLE jobs; --",
        '"""\n[[cause]]',
        "Größe 日本",
        "a.*(b",
    ],
)
def test_any_name_is_only_a_name(shop, name):
    key = shop.write(add_cause, name, system="hvac")
    job = closed_with(shop, key)
    assert shop.get(job.id).closing.cause == key
    assert words(shop).cause_name(key) == " ".join(name.split())
    assert ask(shop, shop.memory()).matches[0].cause == key


def closed_with(shop, cause):
    job, answers = opened(shop), replace(PROVEN, cause=cause)
    return shop.write(close_job, job.id, answers, words=words(shop), today=shop.today)


# --- checks and quantities ------------------------------------------------------------------------


def test_a_check_that_the_shop_adds_is_read_and_its_finding_counts(shop):
    assert shop.write(add_check, WIGGLE) == "flap_wiggle"
    entry = shop.write(
        open_job, Intake(text="flap wiggle loose"), words=words(shop), today=shop.today
    )
    (finding,) = entry.job.findings
    assert (finding.check, finding.outcome) == ("flap_wiggle", "loose")
    closed(shop, opened(shop))
    found = shop.memory().suggest(entry.job)
    assert all(row.check != "flap_wiggle" for row in found.checks)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"name": ""}, "name"),
        ({"systems": []}, "systems"),
        ({"systems": ["boats"]}, "systems"),
        ({"outcomes": "loose"}, "outcomes"),
        ({"outcomes": "loose, LOOSE"}, "outcomes"),
        ({"outcomes": "unclear, not done"}, "outcomes"),
        ({"minutes": ("x", "4")}, "minutes_low"),
        ({"minutes": ("0", "4")}, "minutes_low"),
        ({"minutes": ("2", "")}, "minutes_high"),
        ({"kind": "guess"}, "kind"),
        ({"access": "moon"}, "access"),
    ],
)
def test_a_check_is_refused_at_the_field_that_is_wrong(shop, changes, field):
    assert list(refused(shop, add_check, replace(WIGGLE, **changes)).by_field) == [field]


def test_a_quantity_that_the_shop_adds_is_read_and_its_limits_refuse(shop):
    assert shop.write(add_quantity, GAP) == "flap_gap"
    parsed = parse("flap gap 3 mm", words=words(shop))
    assert parsed.reading_sets[0].readings[0].quantity == "flap_gap"
    assert parse("flap gap 99 mm", words=words(shop)).refused


def test_readings_of_a_shop_quantity_are_compared_before_and_after_an_action(shop):
    shop.write(add_quantity, GAP)
    text = "warm at lights; flap gap 3 mm; shop fan on condenser -> flap gap 3 mm to 1 mm"
    for _ in range(6):
        job = shop.write(open_job, Intake(text=text), words=words(shop), today=shop.today).job
        shop.write(close_job, job.id, PROVEN, words=words(shop), today=shop.today)
    found = ask(shop, shop.memory(), "warm at lights")
    assert found.matches
    asked = draft_job("flap gap 3 mm", words=words(shop), today=shop.today).job
    assert shop.memory().suggest(asked).matches


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"name": "123"}, "name"),
        ({"system": "boats"}, "system"),
        ({"unit": "furlong"}, "unit"),
        ({"hard": ("", "")}, "hard_low"),
        ({"hard": ("5", "5")}, "hard_low"),
        ({"hard": ("9", "1")}, "hard_low"),
        ({"typical": ("1", "99")}, "typical_low"),
        ({"typical": ("1", "")}, "typical_high"),
        ({"short": "gap, " + "x" * 99}, "short"),
    ],
)
def test_a_quantity_is_refused_at_the_field_that_is_wrong(shop, changes, field):
    assert list(refused(shop, add_quantity, replace(GAP, **changes)).by_field) == [field]


# --- what words mean ------------------------------------------------------------------------------


def test_a_word_unread_before_is_understood_after_it_got_a_meaning(shop):
    memory = shop.memory()
    assert parse("wuffles at idle", words=memory.words).unread
    shop.write(add_synonym, "Wuffles", means="symptom", what="ac_not_cold")
    parsed = parse("wuffles at idle", words=memory.words)
    assert parsed.symptoms[0].concept == "ac_not_cold"
    assert not parsed.unread


def test_a_plain_word_is_searched_as_the_word_that_it_means(shop):
    closed(shop, opened(shop, invoice=None), PROVEN)
    for text in ("gubbins howls like a dog", "wipers park halfway"):
        job = shop.write(open_job, Intake(text=text), words=words(shop), today=shop.today).job
        shop.write(close_job, job.id, PROVEN, words=words(shop), today=shop.today)
    memory = shop.memory()
    before = text_score(memory, shop)
    shop.write(add_synonym, "gubbins", means="word", what="compressor")
    assert text_score(memory, shop) > before


def text_score(memory, shop):
    asked = draft_job("compressor howls", words=memory.words, today=shop.today).job
    return next(r.score for r in memory.suggest(asked).matches if r.case == "J000002")


def test_a_meaning_can_be_changed_and_is_one_line_of_history_each_time(shop):
    shop.write(add_synonym, "wuffles", means="symptom", what="ac_not_cold")
    shop.write(add_synonym, "wuffles", means="condition", what="at_idle")
    assert parse("wuffles", words=words(shop)).conditions == ("at_idle",)
    with shop.store.read() as unit:
        verbs = [row.verb for row in unit.history.since(0)]
    assert verbs == ["add synonym", "change synonym"]


@pytest.mark.parametrize(
    ("means", "what"),
    [
        ("symptom", "no_such"), ("condition", ""), ("check", "no_such"), ("quantity", "x"),
        ("rumour", "x"), ("part", "no such part"), ("word", ""), ("word", "wuffles"),
        ("word", "x" * 99),
    ],
)  # fmt: skip
def test_an_unknown_meaning_is_refused_and_nothing_is_kept(shop, means, what):
    error = refused(shop, add_synonym, "wuffles", means=means, what=what)
    assert list(error.by_field) == ["what"]
    assert words(shop) is load_vocabulary()


@pytest.mark.slow
@pytest.mark.parametrize("word", ["not", "No", " without "])
def test_a_word_that_denies_others_gets_no_other_meaning(shop, word):
    with pytest.raises(TermError, match="denies others"):
        shop.write(add_synonym, word, means="symptom", what="ac_not_cold")


def test_a_word_that_another_process_taught_is_understood_by_the_next_parse(shop):
    memory = shop.memory()
    closed(shop, opened(shop))
    assert parse("wuffles", words=memory.words).unread
    asked = draft_job("wuffles", words=memory.words, today=shop.today).job
    before = memory.suggest(asked)
    command = [sys.executable, "-m", "tests.kb.store.other_process", "say_word", shop.url]
    subprocess.run(command, cwd=ROOT, check=True, timeout=60, env=os.environ.copy())
    assert not parse("wuffles", words=memory.words).unread
    asked = draft_job("wuffles", words=memory.words, today=shop.today).job
    after = memory.suggest(asked)
    assert after.causes != before.causes


def test_a_word_that_was_set_aside_is_no_longer_asked_about_until_it_gets_a_meaning(shop):
    shop.write(set_aside, "Plonk")
    shop.write(set_aside, "plonk")
    assert words(shop).shop.set_aside == {"plonk"}
    shop.write(add_synonym, "plonk", means="word", what="clunk")
    assert words(shop).shop.set_aside == frozenset()
    shop.write(set_aside, "plonk")
    assert words(shop).shop.set_aside == {"plonk"}


def test_unread_words_are_counted_without_those_that_are_settled(shop):
    from sqlalchemy import insert  # noqa: PLC0415

    from kb.store.shop_tables import UnreadRow  # noqa: PLC0415

    first, second = opened(shop), opened(shop)
    seen = {
        "wuffles": (first, second),
        "plonk": (first,),
        "blarb": (second,),
        "vent cold": (first,),
    }
    rows = [
        {"job_id": job.id, "word": word, "at": shop_now()} for word, jobs in seen.items() for job in jobs
    ]  # fmt: skip
    shop.write(lambda unit: unit.connection.execute(insert(UnreadRow), rows))
    assert counted(shop) == [
        ("wuffles", 2, second.id),
        ("blarb", 1, second.id),
        ("plonk", 1, first.id),
    ]
    shop.write(add_synonym, "wuffles", means="quantity", what="vent_temp")
    shop.write(set_aside, "plonk")
    assert counted(shop) == [("blarb", 1, second.id)]


def test_of_words_that_stood_together_only_those_still_unclear_are_asked_about(shop):
    text = "kompressr plonk"
    first = shop.write(open_job, Intake(text=text), words=words(shop), today=shop.today).job
    second = shop.write(open_job, Intake(text="plonk"), words=words(shop), today=shop.today).job
    assert counted(shop) == [("kompressr plonk", 1, first.id), ("plonk", 1, second.id)]
    shop.write(add_synonym, "kompressr", means="part", what="ac_compressor")
    assert counted(shop) == [("plonk", 2, second.id)]


def counted(shop):
    with shop.store.read() as unit:
        return [(row.word, row.jobs, row.last_job) for row in unread_counts(unit, words_of(unit))]


# --- families -------------------------------------------------------------------------------------


def test_a_family_is_filled_in_when_a_job_is_opened_or_its_vehicle_changes(shop):
    shop.write(add_family, "C platform", "Pellarin Copse\nWicket")
    car = Vehicle(make="pellarin", model="copse")
    job = shop.write(
        open_job, Intake(text="no crank", vehicle=car), words=words(shop), today=shop.today
    ).job
    assert job.vehicle.family == "C platform"
    changed = shop.write(change_vehicle, job.id, {"make": "Tarnholt", "model": "Millrace"})
    assert changed.vehicle.family is None
    again = shop.write(change_vehicle, job.id, {"make": "Garrowick", "model": "Wicket"})
    assert again.vehicle.family == "C platform"


def test_two_models_of_one_family_match_in_search_though_the_first_case_is_older(shop):
    car = Vehicle(make="Pellarin", model="Copse")
    job = opened(shop, vehicle=car)
    case = closed(shop, job)
    assert case.vehicle.family is None
    shop.write(add_family, "C platform", "Pellarin Copse\nGarrowick Wicket")
    now, other = words(shop), Vehicle(make="Garrowick", model="Wicket")
    asked = draft_job("no heat", words=now, vehicle=other, today=shop.today).job
    shared = {row.key for row in case_features(case, now).tokens} & {
        row.key for row in case_features(asked, now).tokens
    }
    assert shared == {"family|c platform\tsame"}


def test_a_family_that_is_there_gets_its_new_members(shop):
    shop.write(add_family, "C platform", "Pellarin Copse")
    shop.write(add_family, "c Platform", "Garrowick Wicket")
    (family,) = words(shop).shop.families
    assert family.members == (("garrowick", "wicket"),)
    assert list(refused(shop, add_family, "D", " \n").by_field) == ["members"]
