from dataclasses import replace

from kb.case.meant_now import as_meant_now, family_of
from kb.case.model import Vehicle
from kb.case.shop_rows import Family, ShopTerm
from kb.case.shop_words import with_shop_terms
from kb.case.terms import load_vocabulary
from tests.factories import a_full_case

WORDS = load_vocabulary()
PLATFORM = Family(key="c", name="C platform", members=(("pellarin", "copse"), ("", "wicket")))


def test_a_family_is_found_by_make_and_model_or_by_the_model_alone():
    assert family_of(Vehicle(make="Pellarin", model="COPSE"), [PLATFORM]) == "C platform"
    assert family_of(Vehicle(make="Garrowick", model="Wicket"), [PLATFORM]) == "C platform"
    assert family_of(Vehicle(make="Tarnholt", model="Copse"), [PLATFORM]) is None
    assert family_of(Vehicle(), [PLATFORM]) is None


def test_without_words_of_the_shop_a_record_is_left_as_it_is():
    job = a_full_case()
    assert as_meant_now(job, WORDS) is job


def test_a_record_takes_the_terms_that_stand_for_its_own_now():
    merged = {"condenser_fan_dead": "overcharge", "condenser_fouled": "air_in_circuit"}
    rows = [
        ShopTerm(kind="cause", key=key, name=key, merged_into=into) for key, into in merged.items()
    ]
    words, job = with_shop_terms(WORDS, rows), a_full_case()
    now = as_meant_now(job, words)
    assert now.closing is not None
    assert job.closing is not None
    assert (now.closing.cause, now.closing.second_cause) == ("overcharge", "air_in_circuit")
    assert job.closing.cause == "condenser_fan_dead"
    assert (now.findings, now.reading_sets) == (job.findings, job.reading_sets)


def test_readings_findings_and_responses_follow_too():
    shop = {"systems": ["hvac"], "outcomes": ["a", "b"]}
    rows = [
        ShopTerm(kind="check", key="fog_it", name="Fog it", body=shop,
                 merged_into="condenser_air_boost"),
        ShopTerm(kind="quantity", key="snout", name="Snout", merged_into="vent_temp",
                 body={"unit": "degC", "hard": [-20, 90]}),
    ]  # fmt: skip
    job = a_full_case()
    now = as_meant_now(_with_shop_keys(job), with_shop_terms(WORDS, rows))
    assert now == job


def _with_shop_keys(job):
    """Return the job as if it had been written with the shop's own check and quantity."""

    def renamed(row):
        return replace(row, quantity="snout") if row.quantity == "vent_temp" else row

    findings = tuple(
        replace(row, check="fog_it", responses=tuple(map(renamed, row.responses)))
        for row in job.findings
    )
    sets = tuple(
        replace(row, readings=tuple(map(renamed, row.readings))) for row in job.reading_sets
    )
    return replace(job, findings=findings, reading_sets=sets)


def test_a_vehicle_without_a_family_has_the_one_that_the_shop_names_today():
    body = {"members": [["pellarin", "copse"]]}
    words = with_shop_terms(WORDS, [ShopTerm(kind="family", key="c", name="C", body=body)])
    job = a_full_case(vehicle=Vehicle(make="Pellarin", model="Copse"))
    assert as_meant_now(job, words).vehicle.family == "C"
    other = a_full_case(vehicle=Vehicle(make="Tarnholt", model="Millrace", family="T"))
    assert as_meant_now(other, words).vehicle.family == "T"
