"""The pictures on the pages: what they show is what their tables say, and nothing else."""

import re
from collections import Counter
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from kb.case.model import Finding, Phase, ReadingSet, Response, Vehicle
from tests.factories import a_case, a_reading
from tests.web.test_style import STYLE

BOTH = (
    a_reading("low_side_pressure", "58", "psi"),
    a_reading("high_side_pressure", "318", "psi"),
)
PIPES = (
    a_reading("evap_pipe_out_temp", "76", "degF"),
    a_reading("condenser_out_temp", "145", "degF"),
)
MOVED = Finding(
    check="condenser_air_boost",
    outcome="pressure_falls_vent_cools",
    responses=(
        Response(
            quantity="high_side_pressure", before_typed="318", after_typed="214", unit="psi",
            before=BOTH[1].canonical, after=a_reading("high_side_pressure", "214", "psi").canonical,
        ),
    ),
)  # fmt: skip


# How a picture begins; a square code to scan is none.
PICTURE = '<svg role="img" aria-labelledby='


def pictures(text):
    """Return the pictures of a page, parsed as XML."""
    return [
        ElementTree.fromstring(found)
        for found in re.findall(rf"{PICTURE}.*?</svg>", text, re.DOTALL)
    ]


def named(text, name):
    found = [row for row in pictures(text) if tag(row, "title").text == name]
    assert len(found) == 1, [tag(row, "title").text for row in pictures(text)]
    return found[0]


def tag(element, name):
    return element.find(f"{{http://www.w3.org/2000/svg}}{name}")


def all_of(element, kind):
    return [row for row in element.iter() if row.get("data-part") == kind]


def reader(svg, axis):
    """Return what reads a place back by the ticks of an axis."""
    ticks = [
        (float(row.get(axis)), float(row.text.replace("−", "-"))) for row in all_of(svg, "tick")
    ]
    (first, low), (last, high) = ticks[0], ticks[-1]
    return lambda at: low + (float(at) - first) / (last - first) * (high - low)


def table_after(text, name):
    """Return the rows of the table of a picture, by their heading."""
    (found,) = re.findall(
        rf"<summary>Numbers: {re.escape(name)}</summary>(.*?)</table>",
        text,
        re.DOTALL,
    )
    rows = re.findall(r"<tr><th scope=\"row\">(.*?)</th>(.*?)</tr>", found, re.DOTALL)
    return {head: re.sub(r"</?td>", " ", cells).strip() for head, cells in rows}


HIGH = "High-side pressure, running"


def test_dots_lie_where_the_table_says(site):
    job = site.opened("cold on the road, warm at lights; hi 322 psi low 56 psi")
    text = site.page(f"/job/{job}")
    svg, table = named(text, HIGH), table_after(text, HIGH)
    at = reader(svg, "x")
    own, other = all_of(svg, "mark")
    assert at(own.get("cx")) == pytest.approx(322, abs=0.5)
    assert table["This car, as found"] == "322 psi"
    assert at(other.get("cx")) == pytest.approx(318, abs=0.5)
    assert "318 psi" in table["1 case: Condenser fan or one speed dead"]
    (band,) = all_of(svg, "band")
    low, high = float(band.get("x")), float(band.get("x")) + float(band.get("width"))
    assert table["Usual, not a limit"] == "130 to 260 psi"
    assert (at(low), at(high)) == pytest.approx((130, 260), abs=0.5)


def test_phases_differ_by_shape_and_word(site):
    sets = tuple(
        ReadingSet(phase=phase, readings=(a_reading("high_side_pressure", psi, "psi"),))
        for phase, psi in ((Phase.BEFORE, "318"), (Phase.DURING, "214"), (Phase.AFTER, "209"))
    )
    site.put(a_case("S9", "own_cause", reading_sets=sets))
    text = site.page("/case/S9")
    svg = named(text, HIGH)
    assert [row.tag.rpartition("}")[2] for row in all_of(svg, "mark")][:3] == [
        "circle",
        "path",
        "rect",
    ]
    words = "".join(svg.itertext())
    for word in ("as found", "during a check", "after the repair"):
        assert f"This car, {word}" in words


def test_a_response_is_drawn_in_its_finding(site):
    site.put(a_case("S9", "own_cause", findings=(MOVED,)))
    text = site.page("/case/S9")
    svg, table = named(text, HIGH), table_after(text, HIGH)
    at = reader(svg, "y")
    before = next(row for row in all_of(svg, "mark") if row.tag.endswith("circle"))
    assert at(float(before.get("cy")) + 4) == pytest.approx(318, abs=1)
    assert table["Before the action"] == "318 psi"
    assert table["After it"] == "214 psi"
    assert {"318 psi", "214 psi"} <= {row.text for row in svg.iter()}


def test_missing_and_open_readings_are_never_drawn_at_zero(site):
    rows = (
        a_reading("resistance", "OL", "ohm", position="C101"),
        replace(a_reading("resistance", "12", "ohm"), word="over"),
        a_reading("resistance", "4", "ohm", position="C102"),
    )
    site.put(a_case("S9", "own_cause", reading_sets=(ReadingSet(readings=rows),)))
    text = site.page("/case/S9")
    svg = named(text, "Resistance of a part or wire")
    at = reader(svg, "x")
    own = all_of(svg, "mark")[:2]
    assert sorted(at(row.get("cx")) for row in own) == pytest.approx([4, 12], abs=0.1)
    assert "Read without a number, so not drawn: C101 OL." in text
    (bar, *_) = all_of(svg, "range")
    assert bar.get("d").endswith("H340.0")


def test_a_job_without_readings_has_no_picture(site):
    text = site.page(f"/job/{site.opened('no crank, no click')}")
    assert pictures(text) == []
    assert "Readings, drawn" not in text


def a_cycle_case(**changes):
    group = ReadingSet(readings=(*BOTH, *PIPES))
    return a_case("S9", "own_cause", reading_sets=(group,), findings=(MOVED,), **changes)


def test_the_cycle_is_drawn_with_superheat_subcooling_and_cautions(site):
    site.put(a_cycle_case(vehicle=Vehicle(refrigerant="R-134a")))
    text = site.page("/case/S9")
    svg, table = named(text, "R-134a, as found"), table_after(text, "R-134a, as found")
    words = "".join(svg.itertext())
    # Boiling at 58 psig is 60.5 degF, condensing at 318 psig 164.5 degF (derived readings).
    assert "superheat 15.5 °F" in words
    assert "subcooling 19.5 °F" in words
    assert table["Low side"].startswith("72.7 psi, boils at 60.5 °F")
    assert "superheat 15.5 °F" in table["Evaporator outlet pipe"]
    assert "Only a person certified for vehicle refrigerant work" in text
    assert "Pressures alone do not tell the charge." in text
    assert (
        "Not read, so dashed or left out: Suction line at the compressor; Discharge line." in text
    )
    assert len(all_of(svg, "mark")) == 2
    assert len(all_of(svg, "thick")) == 2
    assert all_of(svg, "dashed") == []


def test_temperatures_that_were_not_read_make_the_cycle_dashed(site):
    group = ReadingSet(readings=BOTH)
    site.put(a_case("S9", reading_sets=(group,), vehicle=Vehicle(refrigerant="R-134a")))
    svg = named(site.page("/case/S9"), "R-134a, as found")
    assert len(all_of(svg, "dashed")) == 2
    assert all_of(svg, "mark") == []


def test_an_odd_temperature_is_said_and_not_drawn(site):
    pipe = a_reading("condenser_out_temp", "180", "degF")
    group = ReadingSet(readings=(*BOTH, pipe))
    site.put(a_case("S9", reading_sets=(group,), vehicle=Vehicle(refrigerant="R-134a")))
    text = site.page("/case/S9")
    assert "Does not fit the pressure, so not drawn: Condenser outlet (liquid) pipe." in text
    assert all_of(named(text, "R-134a, as found"), "mark") == []


def test_without_the_refrigerant_one_sentence_says_what_is_missing(site):
    site.put(a_cycle_case())
    text = site.page("/case/S9")
    assert "write the refrigerant on the vehicle" in text
    assert "way round</h2>" not in text
    assert "write the refrigerant" not in site.page("/case/S3")


def test_every_picture_has_a_name_a_description_and_its_own_ids(site):
    site.put(a_cycle_case(vehicle=Vehicle(refrigerant="R-134a")))
    text = site.page("/case/S9")
    ids = Counter(re.findall(r"\sid=\"([^\"]+)\"", text))
    assert [name for name, count in ids.items() if count > 1] == []
    assert len(pictures(text)) >= 4
    for svg in pictures(text):
        assert svg.get("role") == "img"
        assert svg.get("aria-labelledby").split() == [
            tag(svg, "title").get("id"),
            tag(svg, "desc").get("id"),
        ]
        assert tag(svg, "title").text
        assert tag(svg, "desc").text
    assert text.count(PICTURE) == text.count('<details class="numbers">')


def test_pictures_hold_no_style_and_no_colour_of_their_own(site):
    site.put(a_cycle_case(vehicle=Vehicle(refrigerant="R-134a")))
    for svg in pictures(site.page("/case/S9")):
        for row in svg.iter():
            assert "style" not in row.attrib
            assert not [name for name in row.attrib if name.startswith("on")]
            assert {row.get("fill"), row.get("stroke")} <= {None, "none", "currentColor"}


def test_hostile_text_stays_text(site):
    evil = '"><script>alert(1)</script>'
    rows = (
        a_reading("high_side_pressure", "318", "psi", position=evil),
        replace(BOTH[1], typed=evil),
        replace(BOTH[0], quantity=evil, unit=evil),
        replace(BOTH[1], quantity=evil, unit=evil),
    )
    site.put(a_case("S9", evil, reading_sets=(ReadingSet(readings=rows, state=(evil,)),)))
    text = site.page("/case/S9")
    assert "<script>alert" not in text
    assert len(pictures(text)) == 2


@pytest.mark.parametrize(
    "rule",
    ["details.numbers { display: block; }", "details.numbers::details-content", ".picture svg"],
)
def test_tables_open_and_pictures_are_black_in_print(rule):
    printed = [line for line in STYLE.splitlines() if line.startswith("@media print")]
    assert any(rule in line for line in printed)
