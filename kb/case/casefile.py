"""One case, one Markdown file: a TOML header between ``+++`` lines, then the story.

``python -m kb.case.casefile FILE ...`` prints one line for each problem found.
"""

import sys
from pathlib import Path

from kb.case.casefile_reader import MAX_FILE_BYTES, make_reading, read_case
from kb.case.casefile_writer import write_case
from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.errors import CaseFileError

__all__ = ["MAX_FILE_BYTES", "main", "make_reading", "read_case", "read_folder", "write_case"]


def read_folder(
    folder: Path, *, words: Vocabulary | None = None
) -> tuple[tuple[Job, ...], tuple[CaseFileError, ...]]:
    """Return the jobs of all ``*.md`` files in ``folder``, and the errors of those refused."""
    jobs, refused = [], []
    for path in sorted(folder.glob("*.md")):
        try:
            jobs.append(_read_file(path, name=path.name, words=words))
        except CaseFileError as error:
            refused.append(error)
    return tuple(jobs), tuple(refused)


def _read_file(path: Path, *, name: str, words: Vocabulary | None = None) -> Job:
    # One byte more than the cap is enough to know; a larger file is never held whole.
    with path.open("rb") as file:
        content = file.read(MAX_FILE_BYTES + 1)
    if len(content) > MAX_FILE_BYTES:
        raise CaseFileError(f"expected at most {MAX_FILE_BYTES} bytes, got more", name=name)
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise CaseFileError("expected UTF-8 text, got other bytes", name=name) from error
    return read_case(text, name=name, words=words)


def _check(path: Path, name: str) -> None:
    job = _read_file(path, name=name)
    if read_case(write_case(job), name=name) != job:
        raise CaseFileError("expected the same case after writing, got another", name=name)


def main(paths: list[str]) -> int:
    """Print one line for each problem in the given files; return how many."""
    problems = 0
    for name in paths:
        try:
            _check(Path(name), name)
        except CaseFileError as error:
            problems += 1
            sys.stdout.write(f"{error}\n")
    sys.stdout.write(f"{len(paths)} files, {problems} problems\n")
    return problems


if __name__ == "__main__":
    raise SystemExit(min(1, main(sys.argv[1:])))
