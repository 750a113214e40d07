import re

from tests.web.conftest import closed_case
from web.kept_parts import MOST_KEPT, KeptParts
from web.rights import Role


def bare(page):
    """Return a page without what is new in every page: tokens and numbers of forms."""
    return re.sub(r'name="(csrf_token|form_id)" value="[^"]*"', r'name="\1"', page)


def test_a_part_shown_again_is_what_it_would_be_drawn_anew(site):
    job = site.opened("cold on the road, warm at lights; hi 318 psi low 58 psi; 12.6; bzzt")
    kept = site.app.extensions["baybook_kept_parts"]
    seen = []

    def look(browser=site):
        shown = [bare(browser.page(f"/job/{job}")) for _ in range(2)]
        kept.clear()
        assert {*shown, bare(browser.page(f"/job/{job}"))} == {shown[0]}
        seen.append(shown[0])

    look()
    for path, form in (
        (f"/job/{job}/add", {"text": "fan silent with the A/C on; amb 91F"}),
        (f"/job/{job}/wait", {"waits_for": "a fan"}),
        (f"/job/{job}/vehicle", {"make": "Pellarin", "model": "Copse", "refrigerant": "R-134a"}),
        ("/words/means", {"word": "bzzt", "what": "no crank"}),
        (f"/job/{job}/undo", {}),
    ):
        assert site.send(path, **form).status_code in {200, 302}
        look()
    site.put(closed_case("S9", "warm at lights; hi 350 psi low 60 psi", "overcharge"))
    look()
    look(site.as_role(Role.VIEWER))
    assert len(set(seen)) > 5


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


def test_parts_are_kept_up_to_so_many_bytes_and_one_alone_may_be_too_large():
    kept, half = KeptParts(), "x" * (MOST_KEPT // 2)
    kept.keep("too large", half * 2)
    assert kept.get("too large") is None
    for key in ("one", "two"):
        kept.keep(key, half)
    assert kept.get("one") is None
    assert kept.get("two") == half
    kept.keep("small", "x")
    assert (kept.get("two"), kept.get("small")) == (half, "x")
