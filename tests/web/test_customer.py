from dataclasses import replace

import pytest

from kb.case.model import (
    AfterCheck,
    Code,
    Complaint,
    Finding,
    FixKind,
    Option,
    Phase,
    Proof,
    ReadingSet,
    Response,
    Scan,
    Symptom,
    Tried,
    Vehicle,
)
from tests.factories import a_closing, a_full_case, a_reading
from tests.web.conftest import closed_case, without_keys
from tests.web.test_jobs import CLOSE

# One word for each text of a case: those that a customer reads, and those of the shop alone.
SHOWN = ("saidword", "prooftext", "fixword", "optword", "remainword", "riskword", "afterword")
INSIDE = (
    "sinceword", "beforeword", "freqword", "lineword", "symword", "subjectword", "noteword",
    "triedpart", "triedtext", "lessonword", "bodyword", "fieldword", "vinword", "familyword",
    "moduleword", "invoiceword", "stateword", "positionword", "actionword", "71113", "4711.13",
    "B1234", "J777777", "J888888", "S1", "Ines",
)  # fmt: skip


def sentinel_case():
    """Return a case with a word of its own in every field."""
    return a_full_case(
        "S9",
        invoice="invoiceword",
        comeback_of="J777777",
        vehicle=Vehicle(
            year=2016, make="Pellarin", model="Copse", vin="vinword", family="familyword",
            odometer=71113.0, odometer_unit="mi",
        ),
        complaint=Complaint(
            said="saidword", frequency="freqword", since="sinceword", before_it="beforeword"
        ),
        lines=("lineword",),
        symptoms=(Symptom(text="symword", position="positionword"),),
        codes=(Code(code="B1234", module="moduleword", status="stored"),),
        scan=Scan(none_found=False, modules=("moduleword",)),
        reading_sets=(
            ReadingSet(state=("stateword",), readings=(a_reading(),)),
            ReadingSet(phase=Phase.AFTER, state=("stateword",), readings=(a_reading(typed="44"),)),
        ),
        findings=(
            Finding(
                check="fan_command_test",
                outcome="no_run",
                subject="subjectword",
                minutes=71113.0,
                note="noteword",
                responses=(Response(action="actionword"),),
            ),
        ),
        tried=(Tried(part="triedpart", text="triedtext", cost_cents=471113, minutes=71113.0),),
        closing=a_closing(
            proofs=(Proof(method="seen", text="prooftext"),),
            fix_text="fixword",
            options=(
                Option(
                    what="optword",
                    kind=FixKind.REPLACED,
                    price_cents=41250,
                    remains="remainword",
                    risk="riskword",
                    chosen=True,
                ),
            ),
            after_checks=(AfterCheck(kind="same_readings", text="afterword"),),
            held=True,
            overturned_by="J888888",
            lesson="lessonword",
        ),
        fields=(("component", "fieldword"),),
        body="bodyword",
    )  # fmt: skip


def test_the_customer_reads_what_was_wrong_and_nothing_of_the_shops_own(site):
    site.put(sentinel_case())
    text = without_keys(site.page("/case/S9/customer"))
    for word in (*SHOWN, "412.50", "Condenser fan or one speed dead", "61 °F", "44 °F", "17 °F"):
        assert word in text, word
    for word in INSIDE:
        assert word not in text.replace("S9", ""), word
    inside = site.page("/case/S9")
    for word in (*SHOWN, "noteword", "triedtext", "lessonword", "bodyword", "fieldword"):
        assert word in inside, word


def test_the_words_that_must_not_leak_are_all_in_the_case():
    written = repr(sentinel_case())
    for word in set(INSIDE) - {"4711.13", "S1", "Ines"}:
        assert word in written, word


def test_an_open_job_tells_what_is_known_so_far_and_nothing_of_the_shops_own(site):
    job = site.opened(
        "lineword warm at lights; hi 318\nfan air on condenser: hi 318 to 214, vent 68 to 47 x2",
        said="It blows warm.",
        invoice="invoiceword",
    )
    text = without_keys(site.page(f"/job/{job}/customer"))
    for part in (
        "It blows warm.",
        "What we know so far",
        "Our checks show the cause. Nothing is repaired yet.",
        "Condenser fan or one speed dead",
        "pressure falls vent cools",
        "Watch the temperature gauge",
    ):
        assert part in text
    for word in ("lineword", "invoiceword", "%", "S1", " min<"):
        assert word not in text


def test_an_open_job_without_a_proof_names_no_cause(site):
    job = site.opened("cold on the road, warm at lights")
    text = site.page(f"/job/{job}/customer")
    assert "The cause is not proven yet; we are still looking." in text
    assert "Condenser fan" not in text
    assert "When to stop driving" in text


def test_open_and_closed_lead_to_the_right_page(site):
    job = site.opened()
    answer = site.client.get(f"/case/{job}/customer")
    assert (answer.status_code, answer.location) == (302, f"/job/{job}/customer")
    answer = site.client.get("/job/S1/customer")
    assert (answer.status_code, answer.location) == (302, "/case/S1/customer")


@pytest.mark.parametrize("end", ["no_fault_found", "normal", "referred", "not_fixed"])
def test_an_end_without_a_cause_is_told_in_plain_words(site, end):
    closing = a_closing(None, end=end, proofs=(), fix=None, fix_text="")
    case = closed_case("S8", "no crank", None)
    site.put(replace(case, closing=closing))
    text = site.page("/case/S8/customer")
    assert "What was wrong" in text
    assert "What was done" not in text
    assert end not in text


def test_a_second_cause_is_told_too(site):
    job = site.opened()
    site.send(f"/job/{job}/close", **CLOSE | {"second_cause": "condenser_fouled"})
    text = site.page(f"/job/{job}/customer".replace("/job/", "/case/"))
    assert "Condenser or radiator face blocked with dirt" in text


def test_a_shop_without_a_case_shows_the_page_of_an_open_job(site):
    def empty(unit):
        unit.connection.exec_driver_sql("DELETE FROM jobs")
        unit.jobs.written = True

    site.write(empty)
    assert "not proven yet" in site.page(f"/job/{site.opened()}/customer")
