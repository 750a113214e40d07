"""What programs read besides jobs: searches, the week, what changed, the words."""

from collections.abc import Mapping
from hashlib import sha256

from flask import Blueprint

from kb.case.term_rows import Named
from kb.errors import EmptyIndexError, NotFoundError
from kb.store.journal import HistoryLine
from kb.workflow.decisions import decided_before
from kb.workflow.jobs import draft_job, read_vehicle
from kb.workflow.review import first_week
from kb.workflow.tokens import Scope
from web import db
from web.api.asked import ChangesQuery, FindQuery, WeekQuery
from web.api.operation import Answer, Operation, operation
from web.api.problems import RefusedError
from web.api.told import (
    Answers,
    CauseWord,
    Change,
    Changes,
    CheckWord,
    QuantityWord,
    WeekCounting,
    WeekTold,
    WordsTold,
    WordTold,
)
from web.auth import now
from web.decision_words import decided_json
from web.report import answer_json
from web.week_counting import counted
from web.week_page import WeekAsked
from web.week_text import week_json

bp = Blueprint("reading", __name__)
# Seconds after which a week that is being counted may be asked for again (our choice).
_COUNTED_IN_S = 2


@bp.get("/find")
@operation(Operation(scope=Scope.READ, query=FindQuery, gives={200: Answers}))
def find(query: FindQuery) -> Answer:
    """Tell prior cases like a text, likely causes and the next check."""
    car = read_vehicle(query.vehicle) if query.vehicle.strip() else None
    entry = draft_job(query.text, words=db.words(), vehicle=car, today=db.today())
    try:
        found = db.memory().suggest(entry.job, top=query.top)
    except EmptyIndexError:
        found = None
    return Answer(body=Answers.model_validate(answer_json(entry.parsed, found)))


@bp.get("/week")
@operation(Operation(scope=Scope.WEEK, query=WeekQuery, gives={200: WeekTold, 202: WeekCounting}))
def week(query: WeekQuery) -> Answer:
    """Tell what a week says; while it is being counted, that it is."""
    wanted = query.wanted(db.today())
    asked = WeekAsked(week=wanted, today=db.today(), first=first_week(db.store(), asked=wanted))
    if asked.silence:
        raise NotFoundError(f"expected a week of this shop, got {wanted}: {asked.silence}")
    review = counted(wanted)
    if review is None:
        told = WeekCounting(week=str(wanted))
        return Answer(body=told, status=202, headers={"Retry-After": str(_COUNTED_IN_S)})
    with db.store().read() as unit:
        decided = decided_before(unit, review, now=now(), today=db.today())
    rows = decided_json(decided, db.words())
    return Answer(
        body=WeekTold.model_validate(week_json(review, asked, db.words(), decisions=rows))
    )


# --- what changed --------------------------------------------------------------------------------


@bp.get("/changes")
@operation(Operation(scope=Scope.READ, query=ChangesQuery, gives={200: Changes}))
def changes(query: ChangesQuery) -> Answer:
    """Tell what was written about jobs since a place in the history, oldest first.

    A place is the number of a line with a print of it: after the shop's records were restored from
    a backup, a place that they do not hold is refused with 410, and nothing is left out silently.
    """
    seq, _, print_of = query.since.partition(".")
    with db.store().read() as unit:
        if print_of and not _holds(unit.history.line(int(seq)), print_of):
            raise RefusedError(
                410,
                "expected a place of this shop's history, got one that it does not hold (restored "
                'from a backup?); begin again with "0"',
            )
        lines = unit.history.of_jobs_since(int(seq), most=query.limit + 1)
    told = lines[: query.limit]
    rows = (
        Change(
            seq=row.seq,
            at=row.at,
            who=row.who,
            verb=row.verb,
            job=row.job_id or "",
            what=row.what,
        )
        for row in told
    )
    after = f"{told[-1].seq}.{_print(told[-1])}" if told else query.since
    return Answer(body=Changes(changes=tuple(rows), next=after, more=len(lines) > len(told)))


def _print(line: HistoryLine) -> str:
    said = f"{line.seq} {line.at.isoformat()} {line.who} {line.verb} {line.job_id} {line.what}"
    return sha256(said.encode()).hexdigest()[:16]


def _holds(line: HistoryLine | None, print_of: str) -> bool:
    return line is not None and _print(line) == print_of


# --- words ---------------------------------------------------------------------------------------


@bp.get("/words")
@operation(Operation(scope=Scope.READ, gives={200: WordsTold}))
def words() -> Answer:
    """Tell the keys that bodies may name, with what the shop added."""
    known = db.words()
    told = WordsTold(
        causes=tuple(map(CauseWord.model_validate, known.causes.values())),
        checks=tuple(map(CheckWord.model_validate, known.checks.values())),
        quantities=tuple(map(QuantityWord.model_validate, known.quantities.values())),
        ends=_named(known.job_ends),
        proof_methods=_named(known.proof_methods),
        after_checks=_named(known.after_checks),
    )
    return Answer(body=told)


def _named(rows: Mapping[str, Named]) -> tuple[WordTold, ...]:
    return tuple(WordTold(key=key, name=row.name) for key, row in rows.items())
