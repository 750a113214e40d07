import pytest

from kb.case.model import Phase, ReadingSet, Vehicle
from tests.factories import a_full_case, a_reading
from web import filters


@pytest.fixture(autouse=True)
def inside(site):
    with site.app.app_context():
        yield


def test_causes_and_checks_are_shown_in_words():
    assert filters.cause_name("condenser_fan_dead") == "Condenser fan or one speed dead"
    assert filters.cause_name(None) == "something else"
    assert filters.check_name("a_new_check") == "a new check"


def test_proofs_and_after_checks_are_shown_in_words():
    assert filters.proof_name("measured_out") == "Measured out of limits"
    assert filters.after_name("self_test").startswith("The vehicle")


def test_a_reading_has_a_name_and_a_value():
    row = a_reading(typed="61", position="driver")
    assert filters.reading_name(row).endswith("(driver)")
    assert filters.reading_value(row) == "61 °F"


def test_a_set_says_when_it_was_taken_and_in_which_state():
    row = ReadingSet(phase=Phase.AFTER, state=("at_idle", "blower max", "own_state"))
    assert filters.phase(row) == "after the repair (at idle, blower max, own state)"
    assert filters.phase(ReadingSet()) == "as found"


def test_a_symptom_and_a_response_are_shown_in_words():
    case = a_full_case()
    assert filters.symptom(case.symptoms[1]) == "fan silent"
    assert filters.response(case.findings[0].responses[0]).endswith("61 to 48 °F")


@pytest.mark.parametrize(
    ("cents", "text"), [(None, "–"), (0, "0.00"), (5, "0.05"), (123456, "1,234.56")]
)
def test_money_has_two_decimals_and_missing_is_no_zero(cents, text):
    assert filters.money(cents) == text


def test_a_vehicle_is_one_line():
    assert filters.vehicle(Vehicle(year=2016, model="Copse")) == "2016 Copse"
    assert filters.vehicle(Vehicle()) == "vehicle not written down"


def test_a_key_is_shown_with_blanks():
    assert filters.plain("pressure_falls_vent_cools") == "pressure falls vent cools"


def test_cautions_end_with_what_comes_first():
    assert "procedure" in filters.caution_footer()


def test_every_filter_that_a_template_uses_is_known(site):
    for name in site.app.jinja_env.list_templates():
        site.app.jinja_env.get_template(name)
    assert {"phase", "reading_value", "percent", "with_signs"} <= set(site.app.jinja_env.filters)
