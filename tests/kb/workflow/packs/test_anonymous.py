from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings

from kb.case.casefile import read_case, write_case
from kb.case.model import Complaint, Finding, Origin, Proof, Symptom, Vehicle
from kb.case.terms import load_vocabulary
from kb.workflow.packs.anonymous import MOST_BLANKED, bare, candidate, mapped, pack_id
from kb.workflow.packs.scan import BLANK, Scanner
from tests.factories import a_case, a_closing, a_full_case
from tests.kb.strategies import jobs

WORDS = load_vocabulary()
VIN = "1M8GDM9AXKP042788"


def as_candidate(job, people=("Ines Ferrand",)):
    return candidate(job, words=WORDS, shipped=WORDS, scanner=Scanner(WORDS, people))


def full():
    job = a_full_case("J000007", comeback_of="J000001")
    car = replace(job.vehicle, vin=VIN, odometer=98_412.0)
    return replace(
        job, vehicle=car, invoice="A-2210", fields=(("component", "fan"), ("cost", "412"))
    )


def test_a_pack_holds_no_vin_invoice_price_supplier_photo_link_or_exact_day():
    made = as_candidate(full())
    text = write_case(made.job)
    assert made.held_back == ""
    for gone in (VIN, "A-2210", "412.50", "18.95", "Northgate", "2631", "J000007", "J000001",
                 "J900009", "cost", "2026-05-12", "2026-05-14", "98412"):  # fmt: skip
        assert gone not in text
    assert made.job.opened == date(2026, 5, 1)
    assert made.job.vehicle.odometer == 98_000.0
    assert made.job.origin is Origin.ANOTHER_SHOP
    assert made.of == "J000007"


def test_what_a_case_teaches_stays():
    job, made = full(), as_candidate(full()).job
    for name in ("system", "symptoms", "codes", "scan", "findings", "reading_sets", "complaint"):
        assert getattr(made, name) == getattr(job, name)
    assert made.cause == job.cause
    assert made.closing.lesson == job.closing.lesson
    assert [row.minutes for row in made.tried] == [10.0]


def every_text(job, secret):
    """Return the job with ``secret`` behind each free text, and how many they were."""
    seen = []

    def add(name, text):
        seen.append(name)
        return f"{text} {secret}"

    return mapped(job, add), seen


@pytest.mark.parametrize("secret", ["jane@example.com", "Ines Ferrand", VIN, "555-0134", "A-2210"])
def test_no_free_text_of_a_case_keeps_what_names_somebody(secret):
    job = full()
    plain = replace(job, vehicle=Vehicle(make="Dunmarrow", vin=VIN), codes=(), comeback_of=None)
    told, seen = every_text(replace(plain, vehicle=replace(plain.vehicle, make=None)), secret)
    told = replace(told, vehicle=plain.vehicle, invoice="A-2210")
    made = as_candidate(told)
    assert len(seen) > 20
    assert secret not in write_case(made.job)
    assert len(made.blanked) > MOST_BLANKED
    assert "about somebody" in made.held_back


@pytest.mark.parametrize("name", ["make", "model", "engine", "transmission", "family"])
def test_a_car_whose_name_names_somebody_is_held_back(name):
    job = a_case()
    changed: dict[str, Any] = {name: "Copse ABC-1234"}
    job = replace(job, vehicle=replace(job.vehicle, **changed))
    made = as_candidate(job)
    assert "looks like: plate" in made.held_back


def test_a_cause_or_a_finding_that_no_other_shop_has_a_word_for_does_not_go():
    assert "word of this shop alone" in as_candidate(a_case(cause="our_own_cause")).held_back
    job = full()
    own = Finding(check="our_own_check", outcome="yes", note="here only")
    sets = (replace(job.reading_sets[0], finding=1), replace(job.reading_sets[1], finding=0))
    made = as_candidate(replace(job, findings=(own, *job.findings), reading_sets=sets))
    assert made.held_back == ""
    assert [row.check for row in made.job.findings] == ["condenser_air_boost"]
    assert [row.finding for row in made.job.reading_sets] == [0]


def test_a_case_that_another_shop_could_not_read_is_held_back():
    job = replace(a_case(), symptoms=(Symptom(text="x", concept="our_own_symptom"),))
    assert "could not read it" in as_candidate(job).held_back


def test_the_id_follows_from_the_content_and_not_from_the_shop_or_the_holding():
    one, two = a_case("J1", invoice="1"), a_case("J2", invoice="2")
    held = a_case("J1", closing=a_closing(held=True))
    ids = {as_candidate(job).job.id for job in (one, two, held)}
    assert len(ids) == 1
    other = a_case(closing=a_closing(proofs=(Proof(method="seen", text="other words"),)))
    assert as_candidate(other).job.id not in ids


@settings(max_examples=60, deadline=None)
@given(job=jobs())
def test_a_bare_case_is_bare_already_and_survives_its_file(job):
    once = bare(job)
    assert bare(once) == once
    assert pack_id(once) == once.id
    assert once.vehicle.vin is once.invoice is once.comeback_of is None
    again = read_case(write_case(once), words=WORDS)
    assert again.id == bare(again).id


def test_blanks_keep_the_words_around_them():
    job = a_case(complaint=Complaint(said="Mrs Hale says it blows warm"))
    made = as_candidate(job)
    assert made.job.complaint.said == f"Mrs {BLANK} says it blows warm"
    assert [row.text for row in made.blanked] == ["Hale"]
