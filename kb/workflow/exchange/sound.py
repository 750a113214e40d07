"""Whether a record of an export may stand in a shop: what the shop's own verbs would have refused."""

import json
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import fields
from typing import Any, Final

from kb.case.casefile_reader import read_case
from kb.case.casefile_writer import write_case
from kb.case.iso_week import IsoWeek
from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.errors import CaseFileError, KBError, ParseError
from kb.store.decisions import DONE, DROPPED, OPEN
from kb.store.photo_files import MEDIA_TYPE
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange.values import LONGEST
from kb.workflow.hold import HOLDING_DAYS
from kb.workflow.notes import LONGEST_TITLE, note_html
from kb.workflow.packs.make import SENDER
from kb.workflow.passwords import clean_name, name_problem
from kb.workflow.repair_prices import LABOUR_RATE
from kb.workflow.week.kept import read_kept

# Settings that leave a shop and come in; the others name states of this database.
# Each with what its value looks like.
KEPT_SETTINGS: Final = {
    HOLDING_DAYS: "[0-9]{1,9}",
    LABOUR_RATE: "[0-9]{1,9}",
    SENDER: "[0-9a-f]{32}",
}
Values = Mapping[str, Any]


def refuse_unsound_job(kept: KeptJob, words: Vocabulary) -> None:
    """Refuse a job that is not the one that its own case file gives.

    So every key is one that the shop's words know, and every number fits what was typed.

    Raises
    ------
    ParseError
        Saying where it differs.
    """
    job = kept.job
    try:
        again = read_case(write_case(job), name=job.id, words=words, most=LONGEST)
    except CaseFileError as error:
        raise ParseError(error.reason) from error
    differs = [row.name for row in fields(Job) if _part(again, row.name) != _part(job, row.name)]
    if differs:
        raise ParseError(
            f"expected numbers and words that follow from what was typed, got others in "
            f"{', '.join(differs)}"
        )
    for row in kept.beside.get("shown_answers", ()):
        _refuse_strange_causes(row["causes"])


def _part(job: Job, name: str) -> Any:
    value = getattr(job, name)
    return value.replace("\r\n", "\n") if name == "body" else value


def _refuse_strange_causes(text: str) -> None:
    try:
        causes = json.loads(text)
        known = isinstance(causes, list) and all(_is_chance(*pair) for pair in causes)
    except (ValueError, TypeError, RecursionError):
        known = False
    if not known:
        raise ParseError(f"expected causes of shown_answers with their chances, got {text[:40]}")


def _is_chance(cause: object, chance: object) -> bool:
    if not isinstance(chance, int | float) or isinstance(chance, bool):
        return False
    return (cause is None or isinstance(cause, str)) and 0 <= chance <= 1


def _setting(row: Values) -> None:
    if row["key"] not in KEPT_SETTINGS:
        raise ParseError(f"expected one of {', '.join(KEPT_SETTINGS)}, got '{row['key'][:40]}'")
    if not re.fullmatch(KEPT_SETTINGS[row["key"]], row["value"]):
        raise ParseError(f"expected {row['key']} in digits, got '{row['value'][:40]}'")


def _review(row: Values) -> None:
    IsoWeek.parse(row["week"])
    if row["made_at"] is None or row["body"] is None or read_kept(row["body"]) is None:
        raise ParseError("expected a review as it was counted, got another; count it anew")


def _decision(row: Values) -> None:
    IsoWeek.parse(row["week"])
    if row["state"] not in {OPEN, DONE, DROPPED}:
        raise ParseError(f"expected state as open, done or dropped, got '{row['state'][:40]}'")
    _refuse_number(row)


def _note(row: Values) -> None:
    if not row["title"].strip() or len(row["title"]) > LONGEST_TITLE:
        raise ParseError(f"expected a title of at most {LONGEST_TITLE} characters, got another")
    note_html(row["body"])
    _refuse_number(row)


def _refuse_number(row: Values) -> None:
    if row["id"] < 1:
        raise ParseError(f"expected a number above 0, got {row['id']}")


def _photo(row: Values) -> None:
    if row["media_type"] != MEDIA_TYPE:
        raise ParseError(f"expected a photo as {MEDIA_TYPE}, got '{row['media_type'][:40]}'")


_ROWS: Final[dict[str, Callable[[Values], None]]] = {
    "settings": _setting,
    "reviews": _review,
    "decisions": _decision,
    "shop_notes": _note,
    "photos": _photo,
}


def refuse_unsound_row(table: str, row: Values, *, roles: Collection[str]) -> None:
    """Refuse a row that the shop could not have written itself.

    Parameters
    ----------
    roles : collection of str
        What a person of the shop may be.

    Raises
    ------
    ParseError
        Saying why.
    """
    try:
        if table == "people":
            _person(row, roles)
        elif table in _ROWS:
            _ROWS[table](row)
    except ParseError:
        raise
    except KBError as error:
        raise ParseError(str(error)) from error


def _person(row: Values, roles: Collection[str]) -> None:
    problem = name_problem(row["name"])
    if problem is not None or clean_name(row["name"]) != row["name"]:
        raise ParseError(problem or f"expected a plain name, got '{row['name'][:40]}'")
    if row["role"] not in roles:
        raise ParseError(f"expected a role out of {', '.join(roles)}, got '{row['role'][:40]}'")
