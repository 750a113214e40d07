import json

import pytest
from jsonschema import Draft202012Validator

from kb.store.exported import BEFORE_JOBS, HISTORY
from kb.workflow.exchange.schema import DIALECT, export_schema

VALIDATOR = Draft202012Validator(
    export_schema(), format_checker=Draft202012Validator.FORMAT_CHECKER
)


@pytest.mark.source("JSON Schema", "draft 2020-12, meta-schema, as the library jsonschema has it")
def test_the_schema_is_one_of_draft_2020_12():
    schema = export_schema()
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == DIALECT == Draft202012Validator.META_SCHEMA["$id"]


def test_every_line_of_an_export_keeps_it(out):
    text = (out / "shop.jsonl").read_text("utf-8")
    made = [json.loads(line) for line in text.splitlines()]
    kinds = {line["record"] for line in made}
    assert kinds == {"export", "jobs", "end", *(t.name for t in (*BEFORE_JOBS, HISTORY))}
    assert [str(error) for line in made for error in VALIDATOR.iter_errors(line)] == []


def test_the_schema_goes_with_the_export(out):
    assert json.loads((out / "schema.json").read_text("utf-8")) == export_schema()


@pytest.mark.parametrize(
    "line",
    [
        {"record": "colours"},
        {"record": "settings", "key": "a"},
        {"record": "settings", "key": "a", "value": None},
        {"record": "settings", "key": "a", "value": "b", "c": 1},
        {"record": "jobs", "revision": 1, "job": {"id": "J1"}},
        {"record": "jobs", "revision": 1, "job": {"id": "J1", "opened": "May"}},
        {"record": "jobs", "revision": 0, "job": {"id": "J1", "opened": "2026-05-14"}},
        {"record": "jobs", "revision": 1, "job": {"id": "J1", "opened": "2026-05-14", "x": 1}},
    ],
)
def test_a_line_that_an_import_refuses_does_not_keep_it(line):
    assert not VALIDATOR.is_valid(line)
