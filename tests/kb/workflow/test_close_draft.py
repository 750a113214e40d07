import pytest

from kb.case.model import Finding, FixKind, Option
from kb.workflow.close_draft import asks_for_more, drafted_proofs, fix_kind, usual_choices
from tests.factories import a_case, a_closing, a_job
from tests.kb.workflow.conftest import WORDS

BOOST = Finding(check="condenser_air_boost", outcome="pressure_falls_vent_cools")
NO_RUN = Finding(check="fan_command_test", outcome="no_run")
LOADED = Finding(check="loaded_feed_ground", outcome="both_good", subject="condenser fan")


def drafts(*findings, cause="condenser_fan_dead"):
    rows = drafted_proofs(a_job(findings=findings), cause, WORDS)
    return [(row.finding, row.method) for row in rows]


def test_the_strongest_proof_comes_first():
    twice = Finding(check=BOOST.check, outcome=BOOST.outcome, repeats=2)
    assert drafts(twice, LOADED) == [(1, "measured_out"), (0, "came_and_went")]


def test_an_action_done_once_proves_by_inference_only():
    assert drafts(BOOST) == [(0, "inferred")]


def test_a_method_that_has_to_be_said_stands_alone():
    assert drafts(NO_RUN) == [(0, None)]
    assert drafts(NO_RUN, LOADED) == [(1, "measured_out")]


def test_an_action_repeated_as_expected_is_a_proof_even_where_the_list_names_another():
    (cause,) = {
        key
        for key, row in WORDS.causes.items()
        if key == "overcharge" and BOOST.check not in row.prove
    }
    same = Finding(check=BOOST.check, outcome="pressure_falls_vent_same", repeats=2)
    assert drafts(same, cause=cause) == [(0, "came_and_went")]


def test_other_outcomes_and_no_cause_prove_nothing():
    assert drafts(Finding(check=BOOST.check, outcome="no_change", repeats=3)) == []
    assert drafts(Finding(check="shop_own_check", outcome="x")) == []
    assert drafts(LOADED, cause=None) == []


def test_the_usual_choices_come_with_the_middle_of_the_shops_own_prices(shop):
    prices = (40000, 41000, 99000)
    options = [
        (
            Option(what="fan", kind=FixKind.REPLACED, price_cents=cents, chosen=True),
            Option(what="used fan", kind=FixKind.WORKAROUND, price_cents=cents // 2),
        )
        for cents in prices
    ]
    cases = [
        a_case(f"J{n}", closing=a_closing(options=rows)) for n, rows in enumerate(options, start=1)
    ]
    shop.write(lambda unit: unit.jobs.add_many(cases, verb="import"))
    repair, lesser, leave = shop.write(usual_choices, "condenser_fan_dead", WORDS)
    known = WORDS.causes["condenser_fan_dead"]
    assert (repair.what, repair.kind, repair.price_cents) == (known.fix, FixKind.REPLACED, 41000)
    assert (lesser.what, lesser.kind, lesser.price_cents) == (
        known.cheaper,
        FixKind.WORKAROUND,
        20500,
    )
    assert leave.kind is FixKind.DECLINED
    assert "overheat" in leave.risk
    assert not any(row.chosen for row in (repair, lesser, leave))


def test_without_a_case_there_is_no_price_and_without_a_lesser_measure_none_is_offered(shop):
    known = next(row for row in WORDS.causes.values() if row.system == "brakes" and not row.cheaper)
    repair, leave = shop.write(usual_choices, known.key, WORDS)
    assert repair.price_cents is None
    assert leave.kind is FixKind.DECLINED
    assert shop.write(usual_choices, "nobody_knows", WORDS) == ()


@pytest.mark.parametrize(
    ("fix", "kind"),
    [
        ("replace hose", FixKind.REPLACED),
        ("Clean ground", FixKind.CLEANED),
        ("recover", None),
        ("", None),
    ],
)
def test_a_fix_is_of_the_kind_that_its_first_word_names(fix, kind):
    assert fix_kind(fix) is kind


@pytest.mark.parametrize(
    ("method", "text", "photo", "asks"),
    [
        ("seen", "it leaks", None, True),
        ("seen", "it leaks", "aa", False),
        ("measured_out", "7.8 V", None, False),
        ("came_and_went", "both times", None, False),
        ("inferred", "", None, False),
    ],
)
def test_a_value_or_a_photo_is_asked_for_with_the_top_three(method, text, photo, asks):
    assert asks_for_more(method, text, photo) is asks
