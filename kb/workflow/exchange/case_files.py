"""A whole shop as case files, with all that is no case in a file of JSON Lines beside them."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from kb.case.casefile import write_case
from kb.case.casefile_reader import read_case
from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.errors import CaseFileError, ParseError
from kb.store.exported import ExportedTable
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange.known_words import KnownWords
from kb.workflow.exchange.lines import (
    FILE_RECORD,
    LineWriter,
    beside_fields,
    read_lines,
    row_line,
    start_line,
)
from kb.workflow.exchange.records import (
    End,
    JobRecord,
    Place,
    Record,
    Refused,
    Start,
)
from kb.workflow.exchange.values import LONGEST

FOLDER: Final = "cases"
BESIDE_FILE: Final = "beside.jsonl"
# Ids that are safe as names on every file system, those that ignore case among them.
_PLAIN_ID: Final = re.compile(r"[A-Z][0-9a-f]{3,30}")


def file_name(job_id: str) -> str:
    """Return the name of a job's case file: its id where that is plain, else a hash of it.

    Examples
    --------
    >>> file_name("J000012")
    'J000012.md'
    >>> len(file_name("../etc/passwd"))
    24
    """
    if _PLAIN_ID.fullmatch(job_id):
        return f"{job_id}.md"
    return f"case-{sha256(job_id.encode()).hexdigest()[:16]}.md"


class CasesSink:
    """A folder with one case file a job."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder / FOLDER
        self._folder.mkdir()
        self._lines = LineWriter(self._folder / BESIDE_FILE)

    def start(self, start: Start) -> None:
        """Write the first line."""
        self._lines.write(start_line(start))

    def row(self, table: ExportedTable, row: Mapping[str, Any]) -> None:
        """Write a row."""
        self._lines.write(row_line(table, row))

    def job(self, kept: KeptJob) -> None:
        """Write a job's case file, and what lies beside it."""
        name = file_name(kept.job.id)
        with (self._folder / name).open("xb") as stream:
            stream.write(write_case(kept.job).encode())
        # Line ends of other systems are one and the same to a reader of files.
        body = {"body": kept.job.body} if "\r" in kept.job.body else {}
        self._lines.write({"record": FILE_RECORD, "file": name, **body, **beside_fields(kept)})

    def end(self) -> None:
        """Write the last line."""
        self._lines.end()


class CaseFolder:
    """Case files of a folder, read by the words that are known by then."""

    def __init__(self, folder: Path, words: KnownWords) -> None:
        self._folder = folder
        self._words = words
        self._read: set[str] = set()

    def records(self) -> Iterator[Record]:
        """Yield the records of an export, or those of case files that somebody wrote."""
        beside = self._folder / BESIDE_FILE
        if not beside.is_file():
            files = sorted(self._folder.glob("*.md"))
            yield Start(jobs=len(files))
            yield from self._plain(files)
            yield End(expected={}, got={})
            return
        for record in read_lines(beside, case_of=self._named):
            if isinstance(record, End):
                files = sorted(self._folder.glob("*.md"))
                yield from self._plain([path for path in files if path.name not in self._read])
            yield record

    def _plain(self, files: list[Path]) -> Iterator[Record]:
        for path in files:
            place = Place(file=path.name)
            try:
                job = _case(path, self._words.read())
                yield JobRecord(place=place, kept=KeptJob(job=job, revision=1))
            except CaseFileError as error:
                where = Place(file=path.name, line=error.line or 0)
                yield Refused(place=where, reason=error.reason)

    def _named(self, fields: Any) -> Job:
        name = fields.get("file")
        if not isinstance(name, str) or not re.fullmatch(r"[A-Za-z0-9_-]{1,80}\.md", name):
            raise ParseError(f"expected a plain file name, got '{str(name)[:40]}'")
        self._read.add(name)
        path = self._folder / name
        if not path.is_file():
            raise ParseError(f"expected the file {name}, got none; export it again")
        job = _case(path, self._words.read())
        if "body" not in fields:
            return job
        body = fields["body"]
        if not isinstance(body, str) or body.replace("\r\n", "\n") != job.body:
            raise ParseError(f"expected the text of {name}, got another")
        return replace(job, body=body)


def _case(path: Path, words: Vocabulary) -> Job:
    with path.open("rb") as stream:
        content = stream.read(LONGEST + 1)
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise CaseFileError("expected UTF-8 text, got other bytes", name=path.name) from error
    return read_case(text, name=path.name, words=words, most=LONGEST)
