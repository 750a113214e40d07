"""What lies at a path that is to be taken in, and how its records are read."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from kb.errors import ExchangeError
from kb.workflow.exchange import case_files, csv_tables, lines
from kb.workflow.exchange.give_out import PHOTO_FOLDER
from kb.workflow.exchange.known_words import KnownWords
from kb.workflow.exchange.records import Record

# What is looked for in the folder of an export, the fastest to read first; all hold the same.
_FORMS: Final = ("jsonl", "csv", "cases")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """An export of one form at its path, and the folder where its photos would lie."""

    form: str
    path: Path
    photos: Path

    def records(self, words: KnownWords) -> Iterator[Record]:
        """Yield its records; case files are read by ``words``.

        Raises
        ------
        ExchangeError
            If it is no export after all.
        """
        return _READERS[self.form](self.path, words)


_READERS: Final[dict[str, Callable[[Path, KnownWords], Iterator[Record]]]] = {
    "jsonl": lambda path, _: lines.read_lines(path),
    "csv": lambda path, _: csv_tables.read_tables(path),
    "cases": lambda path, words: case_files.CaseFolder(path, words).records(),
}


def find_export(path: Path, form: str | None = None) -> Found:
    """Return the export at ``path``: the folder of one, one of its parts, or case files.

    Parameters
    ----------
    form : str, optional
        One of ``cases``, ``jsonl`` and ``csv``, where the folder holds several.

    Raises
    ------
    ExchangeError
        If there is none, or none of that form.
    """
    for wanted in (form,) if form else _FORMS:
        for candidate in _places(path, wanted):
            if _is(wanted, candidate):
                return Found(form=wanted, path=candidate, photos=candidate.parent / PHOTO_FOLDER)
    raise ExchangeError(
        f"expected an export{f' as {form}' if form else ''} at {path} (a folder of baybook export, "
        f"{lines.FILE}, or a folder of case files), got neither"
    )


def _places(path: Path, form: str) -> tuple[Path, ...]:
    inside = {"jsonl": lines.FILE, "csv": csv_tables.FOLDER, "cases": case_files.FOLDER}[form]
    return path / inside, path


def _is(form: str, path: Path) -> bool:
    if form == "jsonl":
        return path.is_file() and path.suffix == ".jsonl"
    if form == "csv":
        return (path / csv_tables.ABOUT).is_file()
    return (path / case_files.BESIDE_FILE).is_file() or (path.is_dir() and any(path.glob("*.md")))
