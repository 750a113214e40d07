import re
from dataclasses import replace

import pytest

from kb.case.model import Origin
from kb.store.journal import PastLine
from tests.factories import a_full_case, a_reading
from tests.kb.workflow.conftest import NOW
from tests.web.conftest import closed_case, shown
from tests.web.test_jobs import CLOSE
from web.cases import before_and_after
from web.rights import Role

ELSEWHERE = Origin.ANOTHER_SHOP
ASKED = "/find?q=no+crank,+no+click"


@pytest.fixture
def full(site):
    case = a_full_case("S9", comeback_of="S1", origin=Origin.DEMONSTRATION)
    assert case.closing is not None
    case = replace(case, closing=replace(case.closing, overturned_by="S2"))
    site.put(case)
    return case


def test_a_case_shows_complaint_cause_and_correction_and_all_behind_them(site, full):
    text = site.page("/case/S9")
    for part in (
        "blows warm at lights",
        "Condenser fan or one speed dead",
        "Condenser or radiator face blocked with dirt",
        "replaced: fan assembly",
        "Seen directly: blades stand still",
        "44 at the same idle",
        "Listen for the fan before the gauges.",
        "B1234 HVAC stored",
        "hose on the condenser",
        "61 to 48 °F",
        "fan relay: no change (18.95)",
        "412.50, chosen",
        "Told the owner how to hear it himself.",
        "invoice INV-S9",
        "invented for the demonstration",
    ):
        assert part in text
    assert "overturned" in text
    assert 'href="/case/S1"' in text
    assert 'href="/case/S2"' in text
    assert "Ines: import" in text


def test_an_invented_case_says_so_and_cannot_be_reopened(site):
    line = PastLine(at=NOW, who="Birte", verb="close")
    job = replace(a_full_case(), id="V1", origin=Origin.INVENTED, comeback_of=None, invoice=None)
    with site.store.write("Ines", NOW) as unit:
        unit.jobs.add_past([(job, line)])
    text = site.page("/case/V1")
    assert "<strong>Invented</strong> for the weekly review of the demonstration" in text
    assert "Birte: close" in text
    assert "Reopen" not in text
    assert "invented for the weekly review" in site.page("/find?method=seen")


def test_no_key_of_the_program_is_shown_in_place_of_the_trades_word(site, full):
    text = site.page("/case/S9")
    for key in ("degF", "condenser_fan_dead", "at_idle", "same_readings", "condenser_air_boost"):
        assert key not in text


def test_readings_before_and_after_stand_side_by_side(site):
    case = a_full_case()
    found = replace(case.reading_sets[0], finding=None, readings=(a_reading(typed="61"),))
    case = replace(case, reading_sets=(found, case.reading_sets[1]))
    with site.app.app_context():
        ((name, before, after, change),) = before_and_after(case)
    assert name.startswith("Vent")
    assert (before, after, change) == ("61 °F", "44 °F", "fell 17 °F")


def test_a_text_with_markup_is_shown_cleaned(site):
    body = (
        "It was the **fan**. <script>alert(1)</script><img src=x onerror=alert(1)>\n\n"
        "[a](javascript:alert(1)) <a href='https://example.org' onclick='x()'>b</a>"
        " <style>p{}</style> <iframe src='//x'></iframe>"
    )
    site.put(closed_case("S8", "no crank", "starter_worn", body=body))
    text = shown(site.page("/case/S8"))
    assert "<strong>fan</strong>" in text
    for part in ("<script", "<img", "onerror", "javascript:", "onclick", "<style", "<iframe"):
        assert part not in text


def test_a_text_that_cannot_be_rendered_is_shown_as_typed(site):
    site.put(closed_case("S8", "no crank", "starter_worn", body="<b>[" * 400))
    text = site.page("/case/S8")
    assert "<pre>&lt;b&gt;[" in text


def test_an_open_job_leads_from_the_case_to_the_job(site):
    job = site.opened()
    answer = site.client.get(f"/case/{job}")
    assert (answer.status_code, answer.location) == (302, f"/job/{job}")


def test_an_unknown_case_is_named(site):
    assert "S404" in site.page("/case/S404", 404)


def test_a_case_without_more_than_its_cause_is_a_page_too(site):
    text = site.page("/case/S1")
    assert "How it went" not in text
    assert "Laid before the customer" not in text


def test_the_checks_say_what_they_spoke_for_and_the_standing_has_its_reason(site, full):
    text = site.page("/case/S9")
    assert (
        "<strong>overturned</strong>, because the car came back and the cause was another one"
        in text
    )
    assert "speaks for: " in text or "speaks against: " in text
    assert "seen, because" not in text


def test_what_came_of_a_case_is_told(site):
    site.put(
        closed_case("S6", "no crank", "starter_worn", comeback_of="S3"),
        closed_case("S7", "no crank", "starter_worn"),
    )
    text = site.page("/case/S3")
    assert 'Came back as <a class="line" href="/case/S6">S6</a>' in text
    assert 'Itself a comeback of <a class="line" href="/case/S3">S3</a>' in site.page("/case/S6")
    assert "No comeback so far" in site.page("/case/S7")
    held = closed_case("S8", "no crank", "starter_worn")
    assert held.closing is not None
    site.put(replace(held, closing=replace(held.closing, held=True)))
    assert "Held: the shop’s holding period passed" in site.page("/case/S8")


def test_whether_a_car_came_back_to_another_shop_is_not_known_here(site):
    site.put(closed_case("P1", "no crank", "starter_worn", origin=ELSEWHERE))
    text = site.page("/case/P1")
    assert "Whether the car came back to the other shop is not known here; closed 2" in text
    assert "No comeback so far" not in text


def test_a_close_is_undone_only_while_it_was_the_last_write(site):
    job = site.opened()
    site.send(f"/job/{job}/close", **CLOSE)
    text = site.page(f"/case/{job}")
    assert "Reopen: undo the close" in text
    (revision,) = re.findall(r'name="revision" value="(\d+)"', text)
    undone = site.send(f"/job/{job}/undo", revision=revision)
    assert (undone.status_code, undone.location) == (302, f"/job/{job}")
    assert site.get(job).closing is None
    assert "Reopen: undo the close" not in site.page("/case/S1")


def test_a_case_of_another_shop_says_so_until_the_foreman_confirms_it(site):
    site.put(closed_case("P1", "no crank, no click; batt 12.6 V", "starter_worn", origin=ELSEWHERE))
    technician, foreman = site.as_role(Role.TECHNICIAN), site.as_role(Role.FOREMAN)
    text = technician.page("/case/P1")
    assert "From another shop" in text
    assert "counts a quarter of" in text
    assert "Confirmed here:" not in text
    assert technician.send("/case/P1/confirm", holds="yes").status_code == 403
    assert "proven, from another shop<" in re.sub(r", chance [^<]*", "", site.page(ASKED))
    assert "Confirmed here:" in foreman.page("/case/P1")
    assert foreman.send("/case/P1/confirm", holds="yes").status_code == 302
    assert site.get("P1").origin is Origin.CONFIRMED_HERE
    assert "counts as much as a case of this shop" in site.page("/case/P1")
    foreman.send("/case/P1/confirm", holds="no")
    assert site.get("P1").origin is ELSEWHERE


def test_a_case_that_changed_meanwhile_is_not_confirmed_as_it_was_seen(site):
    site.put(closed_case("P1", "no crank", "starter_worn", origin=ELSEWHERE))
    site.send("/case/P1/confirm", holds="yes", revision="1")
    assert site.send("/case/P1/confirm", holds="no", revision="1").status_code == 409
    assert site.get("P1").origin is Origin.CONFIRMED_HERE


def test_a_case_of_this_shop_needs_no_confirming(site):
    assert site.send("/case/S1/confirm", holds="yes").status_code == 409
    assert site.get("S1").origin is Origin.SHOP
