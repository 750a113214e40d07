import re
from urllib.parse import quote

import pytest
import segno
from flask import Flask

from tests.web.conftest import SEEDS, closed_case
from web import labels
from web.labels import qr_code


def picture(text):
    (found,) = re.findall(r"<svg[^>]*class=\"qr\".*?</svg>", text, re.DOTALL)
    return found


def drawn(svg):
    """Return the dark modules of a picture as rows of True and False, its quiet edge left out."""
    (size,) = map(int, re.findall(r'viewBox="0 0 \d+ (\d+)"', svg))
    (path,) = re.findall(r'<path stroke="#000" d="([^"]+)"', svg)
    scale = float((re.findall(r'transform="scale\((\d+)\)"', svg) or ["1"])[0])
    side = int(size / scale)
    rows = [[False] * side for _ in range(side)]
    x, y = 0.0, 0.0
    for verb, one, two in re.findall(r"([Mmh])(-?[\d.]+)(?: ?(-?[\d.]+))?", path):
        if verb == "M":
            x, y = float(one), float(two)
        elif verb == "m":
            x, y = x + float(one), y + float(two)
        else:
            for step in range(int(one)):
                rows[int(y)][int(x) + step] = True
            x += float(one)
    return [row[4:-4] for row in rows[4:-4]]


@pytest.mark.source("ISO/IEC 18004 as segno 1.6 encodes it", "level Q, no micro code")
def test_the_code_holds_the_address_of_the_job_and_nothing_else(site):
    job = site.opened(vehicle="2016 Pellarin Copse P20P")
    site.send(f"/job/{job}/vehicle", make="Pellarin", vin="11111111111111111")
    svg = picture(site.page(f"/job/{job}/label"))
    made = segno.make(f"http://localhost/job/{job}", error="q", micro=False)
    assert drawn(svg) == [[bool(dot) for dot in row] for row in made.matrix]
    other = segno.make(f"http://localhost/job/{job}?v=1", error="q", micro=False)
    assert drawn(svg) != [[bool(dot) for dot in row] for row in other.matrix]


def test_the_code_is_black_on_white_with_a_quiet_edge_and_without_style(site):
    with site.app.test_request_context():
        svg = qr_code("J000001")
    assert 'fill="#fff"' in svg
    assert "style=" not in svg
    assert "<title>Code that opens J000001</title>" in svg
    assert svg.startswith('<svg viewBox="0 0 ')


def test_the_label_says_job_and_vehicle_and_neither_plate_nor_vin(site):
    job = site.opened(vehicle="2016 Pellarin Copse P20P")
    site.send(
        f"/job/{job}/vehicle", year="2016", make="Pellarin", model="Copse", vin="11111111111111111"
    )
    text = site.page(f"/job/{job}/label")
    assert job in text
    assert "2016 Pellarin Copse" in text
    assert "11111111111111111" not in text


def test_the_code_stands_on_the_job_and_on_the_case(site):
    assert picture(site.page(f"/job/{site.opened()}"))
    assert picture(site.page("/case/S1"))


def test_a_job_whose_id_is_a_script_is_shown_as_text(site):
    evil = 'J"><svg onload=alert(1)>'
    site.put(closed_case(evil, *SEEDS["S1"]))
    for page in ("/case/{}", "/job/{}/label", "/case/{}/customer"):
        text = site.page(page.format(quote(evil, safe="")))
        assert "&gt;&lt;svg onload=alert(1)&gt;" in text
        assert "<svg onload" not in text


@pytest.mark.parametrize("base", ["http://localhost", "https://bay.local:8443", "http://bay/shop"])
def test_a_code_holds_the_address_that_flask_gives_to_others(site, base):
    with site.app.test_request_context("/", base_url=base):
        outside = Flask.url_for(site.app, "jobs.show", job_id="J000001", _external=True)
        assert labels._address("J000001") == outside
