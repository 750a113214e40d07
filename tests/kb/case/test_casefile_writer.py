import tomllib
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings

from kb.case.casefile import read_case, write_case
from kb.case.casefile_header import split_header
from kb.case.model import ReadingSet, Scan, Tried
from tests.factories import a_full_case, a_job, a_reading
from tests.kb.strategies import jobs


@given(jobs())
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_text_of_a_job_is_always_the_same(job):
    text = write_case(job)
    assert write_case(read_case(text)) == text


def test_nobody_scanned_differs_from_nothing_found():
    silent, empty = a_job(scan=None), a_job(scan=Scan(none_found=True))
    assert read_case(write_case(silent)).scan is None
    assert read_case(write_case(empty)).scan == Scan(none_found=True)


def test_the_header_is_toml_that_others_can_read():
    header, body = split_header(write_case(a_full_case()), "x.md")
    top = tomllib.loads(header)
    assert top["closing"]["cause"] == "condenser_fan_dead"
    assert top["option"][0]["price"] == pytest.approx(412.5)
    assert body == "Told the owner how to hear it himself."


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        ("14", "14"),
        ("13.50", "13.50"),
        ("-3", "-3"),
        ("-0", '"-0"'),
        ("007", '"007"'),
        ("13.6-13.9", '"13.6-13.9"'),
        ("OL", '"OL"'),
    ],
)
def test_a_reading_is_written_as_typed(typed, written):
    reading = (
        a_reading("blower_voltage", typed, "V")
        if typed != "-3"
        else replace(a_reading("vent_temp", "3", "degC"), typed="-3")
    )
    job = a_job(reading_sets=(ReadingSet(readings=(reading,)),))
    assert f"value = {written}, unit" in write_case(job)


@pytest.mark.parametrize(("cents", "written"), [(1895, "18.95"), (-50, "-0.50"), (0, "0.00")])
def test_money_is_written_with_two_places(cents, written):
    assert f"cost = {written}\n" in write_case(a_job(tried=(Tried(part="x", cost_cents=cents),)))


def test_what_was_not_recorded_is_not_written():
    text = write_case(a_job(tried=(Tried(part="x"),), vehicle=replace(a_job().vehicle, year=None)))
    assert "cost" not in text
    assert "year" not in text
