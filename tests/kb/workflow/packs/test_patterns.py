import re

import pytest

from kb.workflow.packs.patterns import NAMED, PATTERNS, TITLED


def found(text):
    """Return the kinds that are seen; what one pattern took, the next ones do not see."""
    kinds = []
    for row in PATTERNS:
        group = "it" if "it" in row.regex.groupindex else 0
        for match in row.regex.finditer(text):
            if row.check is None or row.check(match[group], text[match.end() :]):
                kinds.append(row.kind)
                text = text.replace(match[group], "_" * len(match[group]))
    return set(kinds)


@pytest.mark.source("49 CFR 565.15(c): a VIN with its check digit", "https://www.ecfr.gov")
@pytest.mark.parametrize(
    "text",
    ["1M8GDM9AXKP042788", "1m8gdm9axkp042788", "1M8GDM9A-XKP042788", "1M8 GDM9A XKP0 42788"],
)
def test_a_vin_is_seen_however_it_is_spaced(text):
    assert found(f"car is {text}, cranks slow") == {"VIN"}


def test_seventeen_letters_of_ordinary_words_are_no_vin():
    assert found("the steep ramp was dry and the van sat 4 days") == set()
    assert found("VIN ends 042788") == {"VIN"}


@pytest.mark.source("RFC 2606: example.com is nobody's", "https://www.rfc-editor.org/rfc/rfc2606")
@pytest.mark.parametrize(
    "text", ["jane.doe@example.com", "jane_d (at) example.com", "j+car@mail.example.com"]
)
def test_an_e_mail_address_is_seen(text):
    assert found(f"write {text} when done") == {"e-mail address"}


@pytest.mark.source(
    "North American numbering: 555-0100 to 555-0199 are nobody's", "common practice, no source"
)
@pytest.mark.parametrize(
    "text",
    [
        "312-555-0188", "(312) 555-0188", "312.555.0188", "+1 312 555 0188", "555-0188",
        "call 555 0188", "cell 5550188", "+44 20 7946 0018", "3125550188",
    ],
)  # fmt: skip
def test_a_phone_number_is_seen(text):
    assert found(f"left it, {text}, after five") & {"phone number", "long number"}


@pytest.mark.parametrize(
    "text",
    [
        "idle 750-1000 rpm", "low 58 hi 318 amb 91 vent 68F", "P0301 P0420 U0100 B1234",
        "R-134a 24 oz charged", "5W30, 4.7 qt", "12.4 V at 3.2 A", "2014 Packhorse T25P",
        "firing order 1-3-4-2", "cyl 1 120, cyl 2 118", "318 PSI", "3000RPM hold", "2026-05-14",
        "friction plate 3 mm", "the tag on the hose", "clutch plate worn", "road test 12 miles",
        "costs time", "ms 5", "Miss on 3", "Dr side window", "10 mm way down the road",
        "scope 500 mV/div, 1200-1500 counts",
    ],
)  # fmt: skip
def test_what_a_technician_types_is_left_alone(text):
    assert found(text) == set()


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("quote was $412.50", "price"), ("95 dollars for the relay", "price"),
        ("€ 1.200", "price"), ("customer paid 300 elsewhere", "price"), ("EUR 95", "price"),
        ("invoice 21001", "invoice number"), ("inv. no. A-2210", "invoice number"),
        ("RO 55812", "invoice number"), ("see #20114", "invoice number"),
        ("came back as J000123", "job number"), ("see www.example.com/x", "web address"),
        ("plate ABC-1234", "plate"), ("license plate abc 1234", "plate"), ("7ABC123", "plate"),
        ("B-AB 1234", "plate"), ("AB12 CDE", "plate"), ("reg no. XY55 ABC", "plate"),
        ("lives 12 Oak Street", "address"), ("at 400 old mill avenue", "address"),
        ("TX 75001", "address"), ("SW1A 1AA", "address"), ("P.O. Box 12", "address"),
        ("policy 4455667", "long number"), ("radio code AB12345678", "long number"),
    ],
)  # fmt: skip
def test_what_names_somebody_is_seen(text, kind):
    assert kind in found(text)


def test_a_name_behind_a_title_or_a_word_for_somebody_is_seen():
    assert TITLED.findall("told Mrs. Hale today") == ["Hale"]
    assert TITLED.findall("mr smith waits") == ["smith"]
    assert NAMED.findall("customer Jane Doe waits") == ["Jane Doe"]
    assert NAMED.search("asked the owner twice") is None


def test_every_pattern_begins_at_a_border_so_that_long_texts_are_read_once():
    for row in PATTERNS:
        assert (
            re.match(r"(\(\?i\))?(\(\?<!|\[\$)", row.regex.pattern) or r"\bVIN" in row.regex.pattern
        )
