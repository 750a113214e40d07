import pytest

from kb.case.casefile_reader import MAX_FILE_BYTES, make_reading, read_case
from kb.case.casefile_writer import write_case
from kb.case.model import Origin
from kb.case.terms import load_vocabulary
from kb.errors import CaseFileError
from tests.factories import a_case

HEAD = '+++\nid = "X1"\nopened = 2026-05-14\n'


def refusal(lines: str) -> CaseFileError:
    with pytest.raises(CaseFileError) as refused:
        read_case(f"{HEAD}{lines}\n+++\n", name="x.md")
    return refused.value


def test_a_reading_is_kept_as_typed_and_in_the_canonical_unit():
    job = read_case(
        f'{HEAD}[[reading_set]]\nreadings = [{{ quantity = "vent_temp", value = 50.0, '
        'unit = "degF" }]\n+++\n'
    )
    (reading,) = job.reading_sets[0].readings
    assert (reading.typed, reading.unit) == ("50.0", "degF")
    assert reading.canonical == pytest.approx(10.0)


def test_the_middle_of_a_range_is_its_canonical_value():
    reading = make_reading(load_vocabulary(), "coolant_voltage", "0.1-0.3", unit="V")
    assert (reading.low, reading.canonical, reading.high) == pytest.approx((0.1, 0.2, 0.3))


def test_a_word_in_place_of_a_number_has_no_canonical_value():
    reading = make_reading(load_vocabulary(), "coolant_voltage", "OL", unit="V")
    assert (reading.canonical, reading.word) == (None, "open")


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        ("colour = 3", 4, ("expected one of", "got 'colour'")),
        ('system = "sails"', 4, ("expected a system", "'sails'")),
        ("lines = 5", 4, ("expected lines as a list of texts", "int")),
        ('lines = "abc"', 4, ("expected lines as a list of texts", "str")),
        ("[vehicle]\nyear = true", 5, ("expected year as a whole number", "bool")),
        ("[vehicle]\nyear = 99999999999", 5, ("expected year as a whole number",)),
        ("[vehicle]\nodometer = nan", 5, ("expected odometer as a number",)),
        ('[vehicle]\nodometer = "far"', 5, ("expected odometer as a number", "far")),
        ("closed = 2026-05-15", 4, ("expected [closing]",)),
        ('[[proof]]\nmethod = "seen"', 4, ("expected [closing]",)),
        ('[[symptom]]\ntext = "x"\nconcept = "no_such"', 6, ("expected a symptom", "no_such")),
        ('[[symptom]]\nconcept = "no_crank"', None, ("expected the key 'text'",)),
        ('[[symptom]]\ntext = "x"\nconditions = "cold_day"', 6, ("a list of texts",)),
        ('[[symptom]]\ntext = "x"\npolarity = "maybe"', 6, ("yes, no, weak, past", "maybe")),
        ('[[finding]]\noutcome = "good"', None, ("expected the key 'check'",)),
        ('[[finding]]\ncheck = "bleed_air"\noutcome = "blue"', 6, ("no_air", "'blue'")),
        ('[[tried]]\npart = "x"\ncost = "dear"', 6, ("expected cost as money",)),
        ('[[tried]]\npart = "x"\ncost_cents = 5', 6, ("got 'cost_cents'",)),
        ("[[reading_set]]\nreadings = [{ value = 5 }]", None, ("the key 'quantity'",)),
        ("[[reading_set]]\nfinding = 0", 5, ("expected finding below 0, got 0",)),
        ("[[reading_set]]\nstate = [1]", 5, ("expected state as a list of texts",)),
        ("vehicle = 5", None, ("expected the shape of a case file",)),
        ("x = [", 4, ("expected TOML",)),
        ("x = " + "9" * 5000, None, ("expected TOML",)),
        ("x = " + "[" * 100_000, None, ("expected TOML",)),
    ],
)
def test_a_broken_file_is_refused_with_line_and_reason(lines, line, words):
    error = refusal(lines)
    assert error.name == "x.md"
    assert error.line == line
    for word in words:
        assert word in str(error)


def test_a_value_outside_its_limits_names_the_likely_unit():
    error = refusal(
        '[[reading_set]]\nreadings = [\n{ quantity = "vent_temp", value = 610, unit = "degF" },\n]'
    )
    assert error.line == 6
    assert "610" in str(error)


@pytest.mark.parametrize("origin", [*Origin])
def test_an_imported_record_keeps_a_cause_in_words_and_no_other_does(origin):
    text = f'+++\nid = "W1"\norigin = "{origin}"\nopened = 2026-05-12\nclosed = 2026-05-12\n'
    text += '\n[closing]\nend = "fixed"\ncause = "Hose: Leak"\n+++\n'
    if origin is Origin.IMPORTED:
        assert read_case(text).cause == "Hose: Leak"
    else:
        with pytest.raises(CaseFileError, match="Hose: Leak"):
            read_case(text)


def test_a_file_is_as_long_as_who_reads_it_allows():
    text = write_case(a_case(body="x" * MAX_FILE_BYTES))
    with pytest.raises(CaseFileError, match="at most"):
        read_case(text)
    assert read_case(text, most=2 * MAX_FILE_BYTES) == a_case(body="x" * MAX_FILE_BYTES)
