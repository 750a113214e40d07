from dataclasses import replace

import pytest

from kb.case.amend import CHANGES, MOST_MINUTES, MOST_REPEATS, piece_at, pieces_of
from kb.case.model import (
    Change,
    Code,
    Finding,
    Polarity,
    ReadingSet,
    Response,
    Scan,
    Symptom,
    Tried,
)
from kb.case.terms import load_vocabulary
from kb.errors import KBError, NotFoundError, ParseError, UnknownTermError
from tests.factories import a_job, a_reading

WORDS = load_vocabulary()
MOVED, GONE = Response(change=Change.MOVED), Response(change=Change.GONE)
JOB = a_job(
    symptoms=(
        Symptom(text="grinds", concept="starter_grinds", conditions=("cranking", "engine_cold")),
        Symptom(text="odd", not_conditions=("at_idle",)),
    ),
    reading_sets=(
        ReadingSet(readings=(a_reading(),), finding=0),
        ReadingSet(readings=(a_reading("ambient_temp", "91"),), finding=1),
        ReadingSet(readings=(a_reading("ambient_temp", "90"),)),
    ),
    codes=(Code(code="P0301"), Code(code="P0302")),
    scan=Scan(none_found=False),
    findings=(
        Finding(check="coil_swap", outcome="fault_moved", subject="2 to 3", responses=(MOVED,)),
        Finding(check="condenser_air_boost", outcome="unclear", responses=(GONE, MOVED)),
    ),
    tried=(Tried(part="alternator"),),
)


def change(kind, what, value="", *, index=0, job=JOB):
    return CHANGES[kind][what](job, index, value, words=WORDS)


def symptom(**changes):
    """Return the job with only the first symptom changed."""
    return replace(JOB, symptoms=(replace(JOB.symptoms[0], **changes), JOB.symptoms[1]))


def finding(**changes):
    return replace(JOB, findings=(replace(JOB.findings[0], **changes), JOB.findings[1]))


@pytest.mark.parametrize(
    ("what", "value", "changes"),
    [
        ("concept", "no_crank", {"concept": "no_crank"}),
        ("concept", "", {"concept": None}),
        ("polarity", "no", {"polarity": Polarity.NO}),
        ("place", "LF", {"position": "LF"}),
        ("when", "at_idle", {"conditions": ("cranking", "engine_cold", "at_idle")}),
        ("when", "cranking", {}),
        ("without", "cranking", {"conditions": ("engine_cold",)}),
        ("never", "cranking", {"conditions": ("engine_cold",), "not_conditions": ("cranking",)}),
        ("instead", "engine_cold>engine_hot", {"conditions": ("cranking", "engine_hot")}),
        ("instead", "engine_cold>cranking", {"conditions": ("cranking",)}),
    ],
)
def test_a_correction_of_a_symptom_changes_that_one_thing(what, value, changes):
    assert change("symptom", what, value) == symptom(**changes)


def test_a_condition_under_which_it_does_not_show_is_turned_round():
    row = change("symptom", "when", "at_idle", index=1).symptoms[1]
    assert (row.conditions, row.not_conditions) == (("at_idle",), ())


@pytest.mark.parametrize(
    ("what", "value", "changes"),
    [
        ("outcome", "fault_stayed", {"outcome": "fault_stayed"}),
        ("outcome", "not_done", {"outcome": "not_done"}),
        ("subject", "4 to 1", {"subject": "4 to 1"}),
        ("subject", " ", {"subject": None}),
        ("repeats", "3", {"repeats": 3}),
        ("minutes", "12,5", {"minutes": 12.5}),
        ("minutes", "", {"minutes": None}),
    ],
)
def test_a_correction_of_a_finding_changes_that_one_thing(what, value, changes):
    assert change("finding", what, value) == finding(**changes)


@pytest.mark.parametrize(
    ("kind", "what", "value", "error"),
    [
        ("symptom", "concept", "no_such", UnknownTermError),
        ("symptom", "polarity", "maybe", UnknownTermError),
        ("symptom", "when", "", UnknownTermError),
        ("symptom", "never", "<script>", UnknownTermError),
        ("symptom", "instead", "cranking", UnknownTermError),
        ("symptom", "instead", "at_idle>at_cruise", NotFoundError),
        ("symptom", "place", "x" * 500, ParseError),
        ("finding", "outcome", "exploded", UnknownTermError),
        ("finding", "repeats", "0", ParseError),
        ("finding", "repeats", str(MOST_REPEATS + 1), ParseError),
        ("finding", "repeats", "9" * 400, ParseError),
        ("finding", "repeats", "²", ParseError),
        ("finding", "minutes", "-1", ParseError),
        ("finding", "minutes", "nan", ParseError),
        ("finding", "minutes", "inf", ParseError),
        ("finding", "minutes", str(MOST_MINUTES + 1), ParseError),
        ("finding", "minutes", "soon", ParseError),
        ("response", "change", "exploded", UnknownTermError),
    ],
)
def test_what_does_not_fit_is_refused_with_what_was_expected(kind, what, value, error):
    with pytest.raises(error, match="expected"):
        change(kind, what, value)


def test_a_finding_taken_out_leaves_its_readings_and_the_others_keep_theirs():
    job = change("finding", "out")
    assert job.findings == JOB.findings[1:]
    assert [row.finding for row in job.reading_sets] == [None, 0, None]
    assert [row.readings for row in job.reading_sets] == [r.readings for r in JOB.reading_sets]


def test_a_response_is_counted_through_all_findings():
    job = change("response", "change", "same", index=2)
    assert job.findings[0] == JOB.findings[0]
    assert job.findings[1].responses == (GONE, Response(change=Change.SAME))
    out = change("response", "out", index=1)
    assert [row.responses for row in out.findings] == [(MOVED,), (MOVED,)]


@pytest.mark.parametrize(
    ("kind", "field"), [("symptom", "symptoms"), ("code", "codes"), ("tried", "tried")]
)
def test_a_piece_taken_out_is_gone_and_nothing_else_is(kind, field):
    assert change(kind, "out") == replace(JOB, **{field: getattr(JOB, field)[1:]})


def test_a_scan_is_taken_out():
    assert change("scan", "out") == replace(JOB, scan=None)


@pytest.mark.parametrize("kind", sorted(CHANGES))
def test_a_piece_that_is_not_there_is_refused_by_every_change(kind):
    for what in CHANGES[kind]:
        for index in (-1, len(pieces_of(JOB, kind)), 10**6):
            with pytest.raises(KBError, match="expected"):
                change(kind, what, "at_idle", index=index)


def test_a_kind_that_does_not_exist_is_refused():
    with pytest.raises(UnknownTermError, match="symptom, reading"):
        piece_at(JOB, "__class__", 0)
