import re
from datetime import timedelta

from flask import render_template

from kb.case.model import Vehicle
from tests.web.conftest import closed_case
from web import chips, db, strip_drawing
from web.kept_parts import MOST_KEPT, Drawn, KeptParts
from web.rights import Role

VIN = "5ZZTR2P59GA004217"


def bare(page):
    """Return a page without what is new in every page: tokens and numbers of forms."""
    return re.sub(r'name="(csrf_token|form_id)" value="[^"]*"', r'name="\1"', page)


def pages(browser, job, asked):
    """Return the page of a job, and Today, bare."""
    return tuple(bare(browser.page(path)) for path in (f"/job/{job}{asked}", "/"))


def test_a_part_shown_again_is_what_it_would_be_drawn_anew(site):
    job = site.opened("cold on the road, warm at lights; hi 318 psi low 58 psi; 12.6; bzzt")
    kept = site.app.extensions["baybook_kept_parts"]
    seen = []

    def look(browser=site, asked=""):
        shown = [pages(browser, job, asked) for _ in range(2)]
        kept.clear()
        assert {*shown, pages(browser, job, asked)} == {shown[0]}
        seen.append(shown[0][0])

    look()
    for path, form in (
        (f"/job/{job}/add", {"text": "low side 2.5; fan silent with the A/C on; amb 91F"}),
        (f"/job/{job}/wait", {"waits_for": "a fan"}),
        (f"/job/{job}/vehicle", {"make": "Pellarin", "model": "Copse", "refrigerant": "R-134a"}),
        (f"/job/{job}/correct", {"kind": "reading", "index": "0", "change": "out"}),
        (f"/job/{job}/correct", {"kind": "symptom", "index": "0", "change": "polarity:no"}),
        (f"/job/{job}/correct", {"kind": "symptom", "index": "0", "change": "out"}),
        (f"/job/{job}/answer", {"point": "low side 2.5 (line 2, sign 1)"}),
        ("/words/means", {"word": "bzzt", "what": "no crank"}),
        (f"/job/{job}/undo", {}),
    ):
        assert site.send(path, **form).status_code in {200, 302}
        look()
    site.put(closed_case("S9", "warm at lights; hi 350 psi low 60 psi", "overcharge"))
    look()
    look(asked="?system=brakes")
    for path, form in (
        (f"/job/{job}/vehicle", {"vin": VIN}),
        (f"/job/{job}/complaint", {"since": "the last service"}),
        (
            f"/job/{job}/readings",
            {"read:high_side_pressure:": "310", "unit:high_side_pressure:": "psi"},
        ),
    ):
        assert site.send(path, **form).status_code == 302
        look()
    site.put(closed_case("S10", "no crank", "overcharge", vehicle=Vehicle(vin=VIN)))
    look()
    assert "S10" in seen[-1]
    assert site.send(f"/job/{job}/comeback", earlier="S10").status_code == 302
    look()
    site.with_note(cause="overcharge")
    look()
    look(site.as_role(Role.VIEWER))
    assert len(set(seen)) == len(seen)


def test_a_kept_list_of_open_jobs_counts_the_days_on(site, monkeypatch):
    site.opened()
    assert "opened today" in site.page("/")
    day = db.today()
    monkeypatch.setattr(db, "today", lambda: day + timedelta(days=3))
    assert "open for 3 days" in site.page("/")


def test_the_forms_of_a_kept_part_are_those_of_whoever_looks(site):
    job = site.opened()
    ours, theirs = site, site.as_role(Role.TECHNICIAN)
    pages = [browser.page(f"/job/{job}") for browser in (ours, ours, theirs)]
    tokens = [set(re.findall(r'name="csrf_token" value="([^"]+)"', page)) for page in pages]
    assert [len(found) for found in tokens] == [1, 1, 1]
    numbers = [re.findall(r'name="form_id" value="([0-9a-f]{32})"', page) for page in pages]
    all_of_them = [number for found in numbers for number in found]
    assert len(set(all_of_them)) == len(all_of_them) > 30
    assert theirs.send(f"/job/{job}/add", text="12.1 V").status_code == 302


def test_what_looks_like_a_form_in_a_typed_text_stays_as_typed(site):
    job = site.opened('name="form_id" value="' + "0" * 32 + '"')
    assert all("0" * 32 in site.page(f"/job/{job}") for _ in range(2))


def test_only_what_changed_is_drawn_again(site, monkeypatch):
    job = site.opened("cold on the road, warm at lights; hi 318 psi low 58 psi")
    site.page(f"/job/{job}")
    made, strips = [], []

    def chip(piece, words, *, draw=chips.chip_of):
        made.append(piece.id)
        return draw(piece, words)

    def strip(lanes, *, draw=strip_drawing.strip_shapes, **axis):
        strips.append(lanes)
        return draw(lanes, **axis)

    monkeypatch.setattr(chips, "chip_of", chip)
    monkeypatch.setattr("web.pictures.strip_shapes", strip)
    site.page(f"/job/{job}")
    assert (made, strips) == ([], [])
    site.send(f"/job/{job}/add", text="amb 91F; no codes")
    page = site.page(f"/job/{job}")
    assert "reading-2" in made
    assert not {"reading-0", "reading-1", "symptom-0"} & {*made}
    assert len(strips) == 1
    assert set(re.findall(r'name="revision" value="([^"]*)"', page)) == {"2"}


def test_a_page_follows_what_it_shows_of_the_cars_other_jobs_and_no_more(site, monkeypatch):
    earlier, job = site.opened("no crank"), site.opened()
    for one in (earlier, job):
        site.send(f"/job/{one}/vehicle", vin=VIN)
    line = f"<strong>{earlier}</strong>"
    assert '<p class="small">open</p>' in site.page(f"/job/{job}").split(line)[1]
    drawn = []

    def noted(name, **values):
        drawn.append(name)
        return render_template(name, **values)

    monkeypatch.setattr("web.kept_parts.render_template", noted)
    site.send(f"/job/{earlier}/add", text="batt 12.6 V")
    drawn.clear()
    assert site.page(f"/job/{job}").count(line) == 1
    assert drawn == []
    site.send(f"/job/{earlier}/wait", waits_for="a part")
    assert '<p class="small">waiting</p>' in site.page(f"/job/{job}").split(line)[1]
    assert "_entry.html" in drawn


def test_of_a_job_only_what_was_drawn_last_is_kept(site):
    job = site.opened("cold on the road, warm at lights; hi 318 psi low 58 psi")
    kept, sizes = site.app.extensions["baybook_kept_parts"], []
    for _ in range(4):
        pages(site, job, "")
        sizes.append(kept.size)
        for path, form in ((f"/job/{job}/add", {"text": "12.1 V"}), (f"/job/{job}/undo", {})):
            site.send(path, **form)
            pages(site, job, "")
    assert len(set(sizes)) == 1
    assert sizes[0] > 10_000


def drawn(*texts):
    return Drawn(follows_from=None, texts=texts, rows={"row": texts[-1]})


def test_parts_are_kept_up_to_so_many_bytes_and_one_alone_may_be_too_large():
    kept, half = KeptParts(), drawn("x" * (MOST_KEPT // 4), "x" * (MOST_KEPT // 4))
    kept.keep("too large", drawn("x" * (MOST_KEPT // 2), "x" * (MOST_KEPT // 2 + 1)))
    assert kept.get("too large") is None
    for key in ("one", "two", "three"):
        kept.keep(key, half)
    assert kept.get("one") is None
    assert (kept.get("two"), kept.get("three"), kept.size) == (half, half, MOST_KEPT)
    kept.keep("two", drawn("x"))
    assert (kept.get("two"), kept.get("three")) == (drawn("x"), half)
