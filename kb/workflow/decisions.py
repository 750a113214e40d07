"""Decide about a row of the week, change it, settle it; and what was decided before."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import Final

from kb.case.iso_week import IsoWeek
from kb.case.one_line import one_line
from kb.errors import ConflictError, FieldsError
from kb.store.decisions import DONE, DROPPED, About, Decision, Plan
from kb.store.engine import Store
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.review import Review, kept_review
from kb.workflow.week.rows import WeekRow

# Longest texts of a decision in characters: a few sentences, and a name (our choice).
LONGEST: Final = 500
LONGEST_OWNER: Final = 80
# For so long a settled decision stands among those decided before (our choice).
SHOWN_SETTLED: Final = timedelta(weeks=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedPlan:
    """The fields of a decision as typed."""

    what: str
    owner: str
    due: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DecidedBefore:
    """A decision as the week shows it.

    ``now`` is the row of today that it is about, None where it is gone; ``compared`` is False
    where the week shown is not later than the one that was decided about, or is not counted.
    """

    decision: Decision
    overdue: bool
    compared: bool
    now: WeekRow | None


def mark_of(decision: Decision) -> str:
    """Return what changes with every change of a decision; a form carries what was seen."""
    plan = decision.plan
    parts = (plan.what, plan.owner, plan.due.isoformat(), decision.state, decision.outcome)
    return sha256("\0".join(parts).encode()).hexdigest()[:16]


def decide(unit: UnitOfWork, about: About, typed: TypedPlan, *, seen: str, today: date) -> Decision:
    """Keep a decision about a row.

    Parameters
    ----------
    seen : str
        ``seen_about`` of the row when the form was shown.

    Raises
    ------
    FieldsError
        If a field cannot be taken; says why at each.
    ConflictError
        If somebody decided about the row since.
    """
    plan = _plan(typed, today)
    if seen_about(unit, about.row_key) != seen:
        raise ConflictError(
            "expected the row as you saw it, got one that somebody decided about meanwhile; look "
            "at that decision, then save yours as well or leave it"
        )
    return unit.decisions.get(unit.decisions.add(about, plan))


def seen_about(unit: UnitOfWork, row_key: str) -> str:
    """Return what changes when an open decision about a row comes or goes."""
    return ",".join(str(row.id) for row in unit.decisions.open_about(row_key))


def change_decision(
    unit: UnitOfWork, decision_id: int, typed: TypedPlan, *, seen: str, today: date
) -> None:
    """Give an open decision another text, owner or date; ``seen`` is its mark as shown.

    Raises
    ------
    NotFoundError
        If there is none of that number.
    FieldsError
        If a field cannot be taken; a date that stays as it was may have passed.
    ConflictError
        If somebody changed it since, or it is settled.
    """
    decision = unit.decisions.get(decision_id)
    plan = _plan(typed, today, kept=decision.plan.due)
    _refuse_changed(decision, seen)
    _refuse_settled(decision)
    if plan != decision.plan:
        unit.decisions.change(decision_id, plan)


def settle(unit: UnitOfWork, decision_id: int, *, state: str, outcome: str, seen: str) -> None:
    """Note that a decision is done or dropped, and what came of it.

    Raises
    ------
    NotFoundError
        If there is none of that number.
    FieldsError
        If the state is neither, or a done decision says nothing of what came of it.
    ConflictError
        If somebody changed it since, or it is settled.
    """
    decision = unit.decisions.get(decision_id)
    text, errors = one_line(outcome), {}
    if state not in {DONE, DROPPED}:
        errors["state"] = f"expected done or dropped, got '{state[:20]}'; choose one"
    if state == DONE and not text:
        errors["outcome"] = "expected what came of it, got nothing; say it in a few words"
    _refuse(errors | _too_long("outcome", text, LONGEST))
    _refuse_changed(decision, seen)
    _refuse_settled(decision)
    unit.decisions.settle(decision_id, state=state, outcome=text)


def take_up_again(unit: UnitOfWork, decision_id: int, *, seen: str) -> None:
    """Take a settled decision up again, as one that was settled by mistake.

    Raises
    ------
    NotFoundError
        If there is none of that number.
    ConflictError
        If somebody changed it since.
    """
    decision = unit.decisions.get(decision_id)
    _refuse_changed(decision, seen)
    if not decision.is_open:
        unit.decisions.reopen(decision_id)


def decided_before(
    unit: UnitOfWork, review: Review | None, *, now: datetime, today: date
) -> tuple[DecidedBefore, ...]:
    """Return all open decisions and those settled of late: overdue ones first, settled ones last.

    Parameters
    ----------
    review : Review or None
        The week that is shown; what it says of a row stands beside the decision.
    now : datetime
        With a zone.
    """
    kept = unit.decisions.open_or_settled_since(now - SHOWN_SETTLED)
    rows = (_standing(decision, review, today) for decision in kept)
    return tuple(sorted(rows, key=_place))


def _standing(decision: Decision, review: Review | None, today: date) -> DecidedBefore:
    later = review is not None and str(review.week) > decision.about.week
    return DecidedBefore(
        decision=decision,
        overdue=decision.is_open and decision.plan.due < today,
        compared=later,
        now=review.row(decision.about.row_key) if review is not None and later else None,
    )


def _place(row: DecidedBefore) -> tuple[bool, float, int]:
    # Open ones by their date, so that overdue ones lead; settled ones newest first.
    decision = row.decision
    if decision.settled_at is not None:
        return True, -decision.settled_at.timestamp(), decision.id
    return False, decision.plan.due.toordinal(), decision.id


# --- fields ------------------------------------------------------------------------------------


def _plan(typed: TypedPlan, today: date, *, kept: date | None = None) -> Plan:
    what, owner, errors = one_line(typed.what), one_line(typed.owner), {}
    if not what:
        errors["what"] = "expected what is to be done, got nothing; say it in a few words"
    if not owner:
        errors["owner"] = "expected who does it, got nobody; type a name"
    errors |= _too_long("what", what, LONGEST) | _too_long("owner", owner, LONGEST_OWNER)
    due = _due(typed.due)
    if due is None:
        got = f"'{typed.due.strip()[:20]}'" if typed.due.strip() else "none"
        errors["due"] = f"expected a day like {today.isoformat()}, got {got}; choose one"
    elif due < today and due != kept:
        errors["due"] = f"expected today or later, got {due.isoformat()}; choose another day"
    _refuse(errors)
    return Plan(what=what, owner=owner, due=due or today)


def _due(typed: str) -> date | None:
    try:
        return date.fromisoformat(typed.strip())
    except ValueError:
        return None


def _too_long(name: str, text: str, most: int) -> dict[str, str]:
    if len(text) <= most:
        return {}
    return {name: f"expected at most {most} characters, got {len(text)}; say it shorter"}


def _refuse(errors: dict[str, str]) -> None:
    if errors:
        raise FieldsError(errors)


def _refuse_changed(decision: Decision, seen: str) -> None:
    if mark_of(decision) != seen:
        raise ConflictError(
            "expected the decision as you saw it, got one that somebody changed meanwhile; look "
            "at both, then save yours or leave it"
        )


def _refuse_settled(decision: Decision) -> None:
    if not decision.is_open:
        raise ConflictError(
            f"expected an open decision, got one that is {decision.state}; take it up again first"
        )


def waits_for_decision(store: Store, week: IsoWeek) -> bool:
    """Return whether a week is counted, has rows worth a decision, and none was taken yet."""
    review = kept_review(store, week)
    if review is None or not review.first:
        return False
    with store.read() as unit:
        return not unit.decisions.about_week(str(week))
