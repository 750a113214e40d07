"""From a job to the text of its case file, always the same text for the same job."""

import re
from collections.abc import Callable, Sequence
from dataclasses import fields
from datetime import date
from typing import Any, Final, NamedTuple

from kb.case.casefile_header import FENCE, JOB_PLAIN
from kb.case.model import Job

# What TOML reads back as the same text; -0 would come back as 0.
_NUMBER = re.compile(r"(?!-0$)-?(?:0|[1-9]\d*)(?:\.\d+)?")


def _quote(text: str) -> str:
    # Hardly a text has a sign to escape, and looking for one is quicker than going by each sign.
    return f'"{text.translate(_ESCAPES) if _ESCAPED.search(text) else text}"'


_ESCAPES: Final = str.maketrans(
    {chr(code): f"\\u{code:04x}" for code in (*range(0x20), 0x7F)}
    | {"\n": "\\n", "\t": "\\t", "\r": "\\r", "\b": "\\b", "\f": "\\f", '"': '\\"', "\\": "\\\\"}
)

_ESCAPED: Final = re.compile(r'[\x00-\x1f\x7f"\\]')


def _toml(value: object) -> str:
    return _writer(type(value))(value)


def _writer(kind: type) -> Callable[[Any], str]:
    if kind not in _WRITER_OF:
        # Words of closed lists are text, truth values are whole numbers: the order matters.
        _WRITER_OF[kind] = next(write for known, write in _WRITERS if issubclass(kind, known))
    return _WRITER_OF[kind]


_WRITER_OF: Final[dict[type, Callable[[Any], str]]] = {}


def _number(value: float) -> str:
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)


def _list(value: tuple[Any, ...]) -> str:
    return "[" + ", ".join(_toml(item) for item in value) + "]"


_WRITERS: Final[tuple[tuple[type, Callable[[Any], str]], ...]] = (
    (str, _quote),
    (bool, lambda value: "true" if value else "false"),
    (int, str),
    (float, _number),
    (date, date.isoformat),
    (tuple, _list),
)


def _typed(text: str) -> str:
    return text if _NUMBER.fullmatch(text) else _quote(text)


def _money(cents: int) -> str:
    sign = "-" if cents < 0 else ""
    return f"{sign}{abs(cents) // 100}.{abs(cents) % 100:02d}"


_COMPUTED: Final = {"canonical", "low", "high", "word", "before", "after"}
_RENAMED: Final = {"typed": "value", "before_typed": "before", "after_typed": "after"}
_MONEY: Final = {"cost_cents": "cost", "price_cents": "price"}


def _pairs(value: object, *, skip: tuple[str, ...] = ()) -> list[tuple[str, str]]:
    return [
        (key, write(item))
        for name, default, key, write in _written(type(value))
        if name not in skip and (item := getattr(value, name)) is not None and item != default
    ]


class _Field(NamedTuple):
    """A field that is written under ``key``, unless it is what stands where nothing is."""

    name: str
    default: Any
    key: str
    write: Callable[[Any], str]


def _written(kind: type[Any]) -> Sequence[_Field]:
    """Return the fields of a dataclass that are written."""
    if kind not in _WRITTEN_OF:
        known = [row for row in fields(kind) if row.name not in _COMPUTED]
        _WRITTEN_OF[kind] = [_field(row.name, row.default) for row in known]
    return _WRITTEN_OF[kind]


_WRITTEN_OF: Final[dict[type, Sequence[_Field]]] = {}


def _field(name: str, default: Any) -> _Field:
    if name in _RENAMED:
        return _Field(name, default, _RENAMED[name], _typed)
    if name in _MONEY:
        return _Field(name, default, _MONEY[name], _money)
    return _Field(name, default, name, _toml)


def _inline(value: Any) -> str:
    return "{ " + ", ".join(f"{key} = {text}" for key, text in _pairs(value)) + " }"


def _table(head: str, value: Any, nested: tuple[str, ...] = ()) -> list[str]:
    lines = ["", head, *(f"{key} = {text}" for key, text in _pairs(value, skip=nested))]
    for key in nested:
        rows = getattr(value, key)
        if isinstance(rows, tuple) and rows:
            lines += [f"{key} = [", *(f"  {_inline(row)}," for row in rows), "]"]
        elif rows and not isinstance(rows, tuple):
            lines.append(f"{key} = {_inline(rows)}")
    return lines


_LISTS: Final = {
    "symptom": "symptoms",
    "reading_set": "reading_sets",
    "code": "codes",
    "finding": "findings",
    "tried": "tried",
}
_CLOSING_LISTS: Final = {
    "proof": "proofs",
    "part": "parts",
    "option": "options",
    "after_check": "after_checks",
}
_NESTED: Final = {
    "symptom": ("response",),
    "reading_set": ("readings",),
    "finding": ("responses",),
}


def _head_lines(job: Job) -> list[str]:
    lines = [f"{key} = {_toml(getattr(job, key))}" for key in JOB_PLAIN if getattr(job, key)]
    lines += [f"origin = {_toml(job.origin)}", f"opened = {job.opened.isoformat()}"]
    if job.closing:
        lines.append(f"closed = {job.closing.closed.isoformat()}")
    else:
        lines.append(f"state = {_toml(job.state)}")
    return lines


def _single_tables(job: Job) -> list[str]:
    lines = []
    for key, part in (("vehicle", job.vehicle), ("complaint", job.complaint)):
        table = _table(f"[{key}]", part)
        # A blank line and the head alone say nothing.
        if len(table) > 2:
            lines += table
    if job.scan is not None:
        lines += _table("[scan]", job.scan)
    if job.fields:
        lines += ["", "[fields]", *(f"{_quote(key)} = {_quote(text)}" for key, text in job.fields)]
    if job.closing:
        pairs = _pairs(job.closing, skip=("closed", *_CLOSING_LISTS.values()))
        lines += ["", "[closing]", *(f"{key} = {text}" for key, text in pairs)]
    return lines


def write_case(job: Job) -> str:
    """Return the case file of a job; ``read_case`` gives the same job back.

    Parameters
    ----------
    job : Job
        Open or closed.
    """
    lines = [*_head_lines(job), *_single_tables(job)]
    for key, name in _LISTS.items():
        for row in getattr(job, name):
            lines += _table(f"[[{key}]]", row, _NESTED.get(key, ()))
    if job.closing:
        for key, name in _CLOSING_LISTS.items():
            for row in getattr(job.closing, name):
                lines += _table(f"[[{key}]]", row)
    return "\n".join([FENCE, *lines, FENCE, job.body])
