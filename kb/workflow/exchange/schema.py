"""The JSON Schema of the lines of an export, made from the jobs' own types and the tables."""

from typing import Any, Final

from kb.store.exported import BEFORE_JOBS, BESIDE, HISTORY, Column, Holds
from kb.workflow.exchange.lines import JOB_RECORD, job_model
from kb.workflow.exchange.records import FORMAT
from kb.workflow.exchange.values import LARGEST

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
_COUNT: Final = {"type": "integer", "minimum": 0, "maximum": LARGEST}
_TYPES: Final[dict[Holds, dict[str, Any]]] = {
    Holds.TEXT: {"type": "string"},
    Holds.WHOLE: {"type": "integer", "minimum": -LARGEST, "maximum": LARGEST},
    Holds.NUMBER: {"type": "number"},
    Holds.YES_NO: {"type": "boolean"},
    Holds.DAY: {"type": "string", "format": "date"},
    Holds.MOMENT: {"type": "string", "format": "date-time"},
    Holds.WORDS: {"type": "array", "items": {"type": "string"}},
}


def export_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) that every line of ``shop.jsonl`` keeps."""
    made = job_model().model_json_schema(ref_template="#/$defs/{model}")
    records = [
        _record(
            "export",
            {
                "format": {"const": FORMAT},
                "jobs": _COUNT,
                "last_job": _COUNT,
                "made_at": {"type": "string", "format": "date-time"},
            },
            ["format", "jobs", "last_job"],
        ),
        *(_row_record(table.name, table.columns) for table in (*BEFORE_JOBS, HISTORY)),
        _record(
            JOB_RECORD,
            {
                "job": {"$ref": "#/$defs/Job"},
                "revision": {"type": "integer", "minimum": 1, "maximum": LARGEST},
                **{
                    table.name: {"type": "array", "items": _row(table.columns_but("job_id"))}
                    for table in BESIDE
                },
            },
            ["job", "revision"],
        ),
        _record("end", {"counts": {"type": "object", "additionalProperties": _COUNT}}, ["counts"]),
    ]
    return {
        "$schema": DIALECT,
        "title": "A line of a whole shop as Baybook exports it",
        "description": "The first line is an export, the last an end; the jobs come before history.",
        "oneOf": records,
        "$defs": made["$defs"],
    }


def _record(name: str, properties: dict[str, Any], required: list[str]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {"record": {"const": name}, **properties},
        "required": ["record", *required],
        "additionalProperties": False,
    }


def _row_record(name: str, columns: tuple[Column, ...]) -> dict[str, Any]:
    row = _row(columns)
    return _record(name, row["properties"], row["required"])


def _row(columns: tuple[Column, ...]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {column.name: _column(column) for column in columns},
        "required": [column.name for column in columns if not column.may_lack],
        "additionalProperties": False,
    }


def _column(column: Column) -> dict[str, Any]:
    kind = _TYPES[column.holds]
    return {**kind, "type": [kind["type"], "null"]} if column.may_lack else kind
