import pytest

from kb.case.model import JobState
from kb.errors import ConflictError, NotFoundError, ParseError
from kb.workflow.close import CloseAnswers, close_job
from kb.workflow.jobs import (
    MAX_TEXT,
    Intake,
    add_text,
    open_job,
    read_vehicle,
    set_waiting,
    vehicle_from,
)

TYPED = "no crank, no click; batt 12.6 V; no codes"


def opened(shop, text=TYPED, **known):
    return shop.write(open_job, Intake(text=text, **known), words=shop.words, today=shop.today)


def test_an_opened_job_keeps_the_text_and_what_was_read(shop):
    job = shop.get(opened(shop, said="It is dead.").job.id)
    assert job.lines == (TYPED,)
    assert job.complaint.said == "It is dead."
    assert job.scan is not None
    assert job.scan.none_found
    assert [r.canonical for s in job.reading_sets for r in s.readings] == [12.6]
    assert "no_crank" in {row.concept for row in job.symptoms}


def test_the_same_invoice_number_gives_the_same_job(shop):
    first = opened(shop, invoice="77").job
    second = opened(shop, text="something else entirely", invoice="77").job
    assert second == shop.get(first.id)
    assert len(shop.history(first.id)) == 1


def test_text_is_added_and_nothing_before_it_is_lost(shop):
    first = opened(shop).job
    shop.write(add_text, first.id, "crank volts 9.1", words=shop.words)
    job = shop.get(first.id)
    assert job.lines == (TYPED, "crank volts 9.1")
    assert set(first.symptoms) <= set(job.symptoms)
    assert [line.verb for line in shop.history(first.id)] == ["open", "add"]


@pytest.mark.parametrize("text", ["", "   \n ", "x" * (MAX_TEXT + 1)])
def test_an_empty_or_endless_text_is_refused_with_what_to_do(shop, text):
    with pytest.raises(ParseError, match="expected"):
        opened(shop, text=text)


def test_a_closed_job_takes_no_more_text(shop):
    job = opened(shop).job
    shop.write(
        close_job, job.id, CloseAnswers(end="no_fault_found"), words=shop.words, today=shop.today
    )
    with pytest.raises(ConflictError, match="closed"):
        shop.write(add_text, job.id, "more", words=shop.words)


def test_an_unknown_job_is_named(shop):
    with pytest.raises(NotFoundError, match="J999999"):
        shop.write(add_text, "J999999", "more", words=shop.words)


def test_a_comeback_of_an_unknown_job_is_refused(shop):
    with pytest.raises(NotFoundError):
        opened(shop, comeback_of="J999999")


def test_a_job_waits_for_one_thing_and_is_taken_up_again(shop):
    job = opened(shop).job
    assert shop.write(set_waiting, job.id, "the part").state is JobState.WAITING
    assert shop.get(job.id).waits_for == "the part"
    assert shop.write(set_waiting, job.id, " ").state is JobState.OPEN
    assert shop.get(job.id).waits_for is None


def test_a_vehicle_line_is_read_in_its_order():
    row = read_vehicle("2016 Pellarin Copse P20P")
    assert (row.year, row.make, row.model, row.engine) == (2016, "Pellarin", "Copse", "P20P")
    assert read_vehicle("").year is None


@pytest.mark.parametrize("values", [{"year": "16"}, {"odometer": "lots"}])
def test_a_vehicle_with_words_for_numbers_is_refused(values):
    with pytest.raises(ParseError, match="expected"):
        vehicle_from(values)


def test_an_odometer_may_be_typed_with_commas():
    assert vehicle_from({"odometer": "71,200"}).odometer == 71200
    assert vehicle_from({"odometer": ""}).odometer is None


def test_words_that_were_not_understood_are_noted_with_the_job(shop):
    job = opened(shop, text="blorf at idle; Quorx").job
    shop.write(add_text, job.id, "blorf again; zibbet", words=shop.words)
    with shop.store.read() as unit:
        assert {"blorf", "quorx", "zibbet"} <= set(unit.unread.of(job.id))
        assert unit.unread.counts()[0][1] == 1


def test_a_text_that_was_understood_leaves_no_unread_word(shop):
    job = opened(shop).job
    with shop.store.read() as unit:
        assert unit.unread.of(job.id) == ()
