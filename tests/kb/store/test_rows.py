from dataclasses import replace

import pytest

from kb.case.model import Scan
from kb.store.columns import Base
from kb.store.rows import FAMILIES, TABLES, content_hash, job_row, rows_below, rows_of
from kb.store.tables import (
    JobRow,
    ReadingRow,
    SymptomResponseRow,
)
from tests.factories import a_case, a_full_case, a_job


def test_the_hash_of_the_same_content_is_the_same():
    assert content_hash(a_full_case()) == content_hash(a_full_case())
    assert len(content_hash(a_job())) == 64


def test_the_hash_covers_computed_numbers_and_words():
    case = a_full_case()
    first = case.reading_sets[0]
    for change in ({"canonical": 16.2}, {"low": 1.0}, {"high": 99.0}, {"word": "open"}):
        reading = replace(first.readings[0], **change)
        sets = (replace(first, readings=(reading, first.readings[1])), *case.reading_sets[1:])
        assert content_hash(replace(case, reading_sets=sets)) != content_hash(case)


def test_a_whole_number_and_a_zero_with_a_sign_hash_like_what_the_database_gives_back():
    case = a_full_case()
    hashes = {
        content_hash(
            replace(
                case,
                reading_sets=(
                    replace(
                        case.reading_sets[0],
                        readings=(replace(case.reading_sets[0].readings[0], canonical=number),),
                    ),
                ),
            )
        )
        for number in (0, 0.0, -0.0)
    }
    assert len(hashes) == 1


def test_every_row_of_a_job_carries_its_id():
    rows = rows_of([a_full_case("J1"), a_full_case("J2")])
    assert set(rows) == set(TABLES)
    for table, made in rows.items():
        key = "id" if table is JobRow else "job_id"
        assert {row[key] for row in made} == {"J1", "J2"}


def test_rows_of_rows_name_their_parent_by_its_place():
    rows = rows_of([a_full_case("J1")])
    assert [(row["parent"], row["ordinal"]) for row in rows[ReadingRow]] == [(0, 0), (0, 1), (1, 0)]
    assert [row["parent"] for row in rows[SymptomResponseRow]] == [0]


def test_words_of_closed_lists_are_plain_text():
    for made in rows_of([a_full_case()]).values():
        for row in made:
            assert all(type(value) is str for value in row.values() if isinstance(value, str))


def test_a_revision_is_one_unless_told():
    rows = rows_of([a_case("J1"), a_case("J2")], revisions={"J2": 7})
    assert [row["revision"] for row in rows[JobRow]] == [1, 7]


@pytest.mark.parametrize(
    ("scan", "expected"),
    [(None, (None, None)), (Scan(), (False, ())), (Scan(none_found=True), (True, ()))],
)
def test_no_scan_is_null_and_an_empty_scan_is_not(scan, expected):
    row = job_row(a_job(scan=scan), revision=1)
    assert (row["scan_none_found"], row["scan_modules"]) == expected


def test_parents_are_written_before_what_hangs_on_them():
    for table in TABLES:
        for key in table.__table__.foreign_keys:
            parents = [t for t in TABLES if t.__table__ is key.column.table]
            assert TABLES.index(parents[0]) < TABLES.index(table)


def test_every_table_below_a_job_is_in_the_family_that_it_is_deleted_with():
    below: dict[type[Base], tuple[type[Base], ...]] = {JobRow: (*FAMILIES,), **FAMILIES}
    told = {(parent.__table__, child.__table__) for parent, rest in below.items() for child in rest}
    keys = {
        (key.column.table, table.__table__)
        for table in TABLES
        for key in table.__table__.foreign_keys
    }
    assert told == keys


def test_the_rows_below_a_job_are_all_but_its_own():
    rows = rows_of([a_full_case("J1")])
    assert rows_below(a_full_case("J1")) == {
        table: made for table, made in rows.items() if table is not JobRow
    }
