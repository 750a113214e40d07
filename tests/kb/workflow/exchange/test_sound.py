from dataclasses import replace

import pytest

from kb.case.model import Origin
from kb.case.terms import load_vocabulary
from kb.errors import ParseError
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange.sound import refuse_unsound_job, refuse_unsound_row
from tests.factories import a_case, a_closing, a_full_case, a_reading
from tests.whole_shop import ROLES, held

WORDS = load_vocabulary()


def reason(job, **beside):
    try:
        refuse_unsound_job(KeptJob(job=job, revision=1, beside=beside), WORDS)
    except ParseError as error:
        return str(error)
    return None


def with_reading(**changes):
    case = a_full_case()
    first = replace(case.reading_sets[0], readings=(replace(a_reading(), **changes),))
    return replace(case, reading_sets=(first,))


@pytest.mark.parametrize(
    ("job", "said"),
    [
        (a_full_case(), None),
        (a_full_case(body="a\r\nb"), None),
        (a_case(cause="no_such"), "no_such"),
        (a_case(cause="Hose: Leak", origin=Origin.IMPORTED), None),
        (a_case(system="no_such"), "no_such"),
        (a_case(id=""), "id"),
        (a_case(lines=("\x00",)), None),
        (with_reading(canonical=99.0), "others in reading_sets"),
        (with_reading(typed="hot"), "hot"),
        (with_reading(quantity="no_such"), "no_such"),
        (a_case(fields=(("a", "1"), ("a", "2"))), "TOML"),
        (replace(a_case(), closing=a_closing(end="no_such")), "no_such"),
    ],
)
def test_a_job_must_be_what_its_own_case_file_gives(job, said):
    found = reason(job)
    assert found is None if said is None else said in (found or "")


@pytest.mark.parametrize(
    "causes",
    ["", "{}", "[1]", '[["a"]]', '[["a", "b"]]', "[[1, 0.5]]", '[["a", NaN]]', '[["a", 2]]'],
)
def test_chances_that_are_none_are_refused(causes):
    assert "shown_answers" in (reason(a_case(), shown_answers=[{"causes": causes}]) or "")
    assert reason(a_case(), shown_answers=[{"causes": '[["a", 0.5], [null, 0.5]]'}]) is None


def test_what_a_shop_wrote_itself_is_sound(filled):
    rows, kept, _ = held(filled.store)
    for table, found in rows.items():
        for row in found:
            refuse_unsound_row(table, row, roles=ROLES)
    assert [reason(row.job) for row in kept if row.job.cause != "own_cause"] == [None] * 3


@pytest.mark.parametrize(
    ("table", "changes", "said"),
    [
        ("settings", {"key": "state of closed jobs"}, "state of closed jobs"),
        ("settings", {"value": "-1"}, "in digits"),
        ("settings", {"key": "pack sender", "value": "60"}, "in digits"),
        ("reviews", {"body": None}, "as it was counted"),
        ("reviews", {"body": "{}"}, "as it was counted"),
        ("reviews", {"week": "May"}, "week like"),
        ("decisions", {"state": "maybe"}, "maybe"),
        ("decisions", {"week": "May"}, "week like"),
        ("decisions", {"id": 0}, "above 0"),
        ("shop_notes", {"title": " "}, "title"),
        ("shop_notes", {"title": "x" * 121}, "title"),
        ("shop_notes", {"body": "[" * 5000}, "expected"),
        ("shop_notes", {"id": -1}, "above 0"),
        ("photos", {"media_type": "text/html"}, "text/html"),
        ("people", {"role": "king"}, "king"),
        ("people", {"name": ""}, "name"),
        ("people", {"name": " Ines "}, "name"),
    ],
)
def test_a_row_that_the_shop_could_not_have_written_is_refused(filled, table, changes, said):
    row = held(filled.store)[0][table][0]
    with pytest.raises(ParseError, match=said):
        refuse_unsound_row(table, row | changes, roles=ROLES)
