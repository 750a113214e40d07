from dataclasses import replace

import pytest

from kb.case.model import (
    Code,
    Complaint,
    Finding,
    JobState,
    Phase,
    ReadingSet,
    Scan,
    Tried,
    Vehicle,
)
from kb.errors import ConflictError, NotFoundError, ParseError, UnknownTermError
from kb.workflow.entries import (
    MAX_WORDS,
    TypedReading,
    add_clean_scan,
    add_codes,
    add_finding,
    add_readings,
    add_tried,
    earlier_jobs,
    read_codes,
    read_typed,
    set_answers,
    set_comeback,
)
from kb.workflow.jobs import add_text
from kb.workflow.undo import undo_last
from tests.factories import a_case, a_job, a_reading
from tests.kb.workflow.conftest import WORDS


def typed(**texts):
    units = {"vent_temp": "degF", "low_side_pressure": "psi", "ambient_temp": "degF"}
    return {
        key: TypedReading(quantity=key, text=text, unit=units[key]) for key, text in texts.items()
    }


@pytest.fixture
def job(shop):
    shop.write(lambda unit: unit.jobs.add(a_job("J1", symptoms=()), verb="open"))
    return "J1"


def last(shop):
    return [(row.verb, row.what) for row in shop.history("J1")][-1]


# --- readings ------------------------------------------------------------------------------------


def test_fields_become_readings_and_empty_ones_are_not_read():
    readings, errors = read_typed(
        typed(vent_temp="68", low_side_pressure="1,9 bar", ambient_temp=" "), words=WORDS
    )
    assert not errors
    assert [(row.quantity, row.typed, row.unit) for row in readings] == [
        ("vent_temp", "68", "degF"),
        ("low_side_pressure", "1,9", "bar"),
    ]
    assert readings[1].canonical == pytest.approx(190)


@pytest.mark.parametrize("text", ["-5", "−5", "-5 F", "−5 °F", "-20,6 C", "-20.6C"])
def test_a_number_is_read_as_the_bay_types_it(text):
    (reading,), errors = read_typed(typed(ambient_temp=text), words=WORDS)
    assert not errors
    assert reading.canonical == pytest.approx(-20.6, abs=0.05)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("900", "expected Vent (panel outlet) air temperature from"),
        ("28 psi", "in degF, degC, got psi"),
        ("warm", "expected a number"),
        ("68 or so", "as one number"),
        ("68 70 72", "as one number"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field_and_the_others_are_read(text, said):
    readings, errors = read_typed(typed(vent_temp=text, ambient_temp="91"), words=WORDS)
    assert said in errors["vent_temp"]
    assert len(readings) == 1


def test_a_set_is_one_write_as_if_it_had_been_typed(shop, job):
    readings, _ = read_typed(typed(vent_temp="68", ambient_temp="91"), words=WORDS)
    group = ReadingSet(phase=Phase.AFTER, state=("at_idle",), readings=readings)
    shop.write(add_readings, job, group)
    assert shop.get(job).reading_sets == (group,)
    assert last(shop) == ("readings", "vent temp 68 degF; ambient temp 91 degF")
    assert len(shop.history(job)) == 2

    shop.write(lambda unit: unit.jobs.add(a_job("J2", symptoms=()), verb="open"))
    shop.write(add_text, "J2", "vent 68F; amb 91F", words=WORDS)
    from_text = [row for group in shop.get("J2").reading_sets for row in group.readings]
    assert sorted(map(str, from_text)) == sorted(map(str, readings))


def test_an_empty_set_is_refused(shop, job):
    with pytest.raises(ParseError, match="at least one number"):
        shop.write(add_readings, job, ReadingSet())


# --- findings ------------------------------------------------------------------------------------


def test_a_finding_is_stored_with_its_subject_and_minutes(shop, job):
    row = Finding(check="look_over", outcome="fault_seen", subject=" line ", minutes=4.0)
    shop.write(add_finding, job, row, words=WORDS)
    (stored,) = shop.get(job).findings
    assert stored == replace(row, subject="line")
    assert last(shop) == (
        "finding",
        "Look, feel, smell, listen round the system (line): fault seen",
    )


@pytest.mark.parametrize("outcome", ["unclear", "not_done", "no_change"])
def test_every_outcome_of_a_check_and_the_two_open_ones_are_taken(shop, job, outcome):
    row = Finding(check="condenser_air_boost", outcome=outcome)
    shop.write(add_finding, job, row, words=WORDS)
    assert shop.get(job).findings[0].outcome == outcome


@pytest.mark.parametrize(
    ("row", "error", "said"),
    [
        (Finding(check="no_such", outcome="unclear"), UnknownTermError, "no_such"),
        (Finding(check="look_over", outcome="maybe", subject="x"), ParseError, "fault_seen"),
        (Finding(check="look_over", outcome="fault_seen"), ParseError, "expected which part"),
        (
            Finding(check="look_over", outcome="fault_seen", subject="x" * (MAX_WORDS + 1)),
            ParseError,
            "at most",
        ),
    ],
)
def test_a_finding_that_cannot_be_is_refused(shop, job, row, error, said):
    with pytest.raises(error, match=said):
        shop.write(add_finding, job, row, words=WORDS)
    assert shop.get(job).findings == ()


# --- codes ---------------------------------------------------------------------------------------


@pytest.mark.source("SAE J2012", "letter, digit 0-3, three hexadecimal digits; from memory")
def test_codes_are_read_in_their_form_with_module_and_status(shop, job):
    codes = read_codes("p0301 P2A0F-1C", words=WORDS)
    assert [row.code for row in codes] == ["P0301", "P2A0F-1C"]
    rows = [Code(code=row.code, module="engine", status="pending") for row in codes]
    shop.write(add_codes, job, rows)
    shop.write(add_codes, job, rows[:1])
    stored = shop.get(job)
    assert stored.codes == tuple(rows)
    assert stored.scan == Scan(none_found=False, modules=("engine",))
    assert last(shop) == ("codes", "P0301 engine pending")


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "like P0301"), ("code 301", "P0301"), ("P03O1", "P0301"), ("misfire", "like P0301")],
)
def test_what_is_no_code_is_refused_with_what_is_meant(text, said):
    with pytest.raises(ParseError, match=said):
        read_codes(text, words=WORDS)


def test_a_clean_scan_is_a_fact_of_its_own(shop, job):
    shop.write(add_clean_scan, job, "engine, ABS,")
    assert shop.get(job).scan == Scan(none_found=True, modules=("engine", "ABS"))
    assert last(shop) == ("codes", "scanned, none found engine, ABS")


# --- the rest ------------------------------------------------------------------------------------


def test_a_part_that_did_not_cure_is_stored_with_money_and_minutes(shop, job):
    row = Tried(part=" fan relay ", text="no change", cost_cents=1895, minutes=10.0)
    shop.write(add_tried, job, row)
    assert shop.get(job).tried == (replace(row, part="fan relay"),)
    assert last(shop) == ("tried", "fan relay: no change")
    with pytest.raises(ParseError, match="the part or the work"):
        shop.write(add_tried, job, Tried(part=" "))


def test_the_customers_sentence_stays_when_the_answers_are_set(shop, job):
    shop.write(set_answers, job, {"frequency": "every day", "since": " June ", "before_it": ""})
    assert shop.get(job).complaint == Complaint(
        said="blows warm at lights", frequency="every day", since="June"
    )
    assert last(shop) == ("complaint", "every day; June")
    shop.write(set_answers, job, {})
    assert shop.get(job).complaint == Complaint(said="blows warm at lights")


def test_a_car_that_comes_back_is_tied_to_its_earlier_job(shop):
    car = Vehicle(vin="5ZZTR2P59GA004217")
    jobs = (
        a_case("J0", vehicle=car),
        a_case("J2", vehicle=Vehicle(vin="4ZYDK41267B118036")),
        a_job("J1", vehicle=car),
    )
    shop.write(lambda unit: unit.jobs.add_many(jobs, verb="import"))
    with shop.store.read() as unit:
        assert [row.id for row in earlier_jobs(unit, jobs[2])] == ["J0"]
        assert earlier_jobs(unit, a_job("J9", vehicle=Vehicle())) == ()
    shop.write(set_comeback, "J1", "J0")
    assert shop.get("J1").comeback_of == "J0"
    with pytest.raises(ConflictError, match="earlier, closed job"):
        shop.write(set_comeback, "J1", "J1")
    with pytest.raises(NotFoundError, match="J404"):
        shop.write(set_comeback, "J1", "J404")
    shop.write(set_comeback, "J1", "")
    assert shop.get("J1").comeback_of is None


@pytest.mark.parametrize(
    ("verb", "value", "known"),
    [
        (add_readings, ReadingSet(readings=(a_reading(),)), {}),
        (add_finding, Finding(check="condenser_air_boost", outcome="unclear"), {"words": WORDS}),
        (add_codes, (Code(code="P0301"),), {}),
        (add_clean_scan, "engine", {}),
        (add_tried, Tried(part="fan"), {}),
        (set_answers, {"since": "June"}, {}),
        (set_comeback, "", {}),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_every_entry_can_be_taken_back_and_none_is_added_to_a_closed_job(
    shop, job, verb, value, known
):
    before = shop.get(job)
    shop.write(verb, job, value, **known)
    shop.write(undo_last, job, words=WORDS)
    assert shop.get(job) == before
    shop.write(lambda unit: unit.jobs.add(a_case("J8"), verb="import"))
    with pytest.raises(ConflictError, match="expected an open job"):
        shop.write(verb, "J8", value, **known)
    assert shop.get("J8").state is JobState.CLOSED
