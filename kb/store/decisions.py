"""What the shop decided about rows of its weeks; every write is one line of history."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, bindparam, insert, select, update

from kb.errors import NotFoundError
from kb.store.asked import Asked
from kb.store.columns import LARGEST_ID, own_columns
from kb.store.journal import HistoryRepository, Pen
from kb.store.week_tables import DecisionRow

# The states of a decision; the first is where each begins.
OPEN: Final = "open"
DONE: Final = "done"
DROPPED: Final = "dropped"
_ALL: Final = select(*own_columns(DecisionRow)).order_by(DecisionRow.id)
_OF_WEEK: Final = Asked(_ALL.where(DecisionRow.week == bindparam("of")))


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """The row of a week that a decision is about; ``said`` is the row in words as it stood."""

    week: str
    row_key: str
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is to be done, by whom, until when."""

    what: str
    owner: str
    due: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """A kept decision; ``outcome`` says what came of it once ``state`` is done or dropped."""

    id: int
    about: About
    plan: Plan
    state: str
    outcome: str
    at: datetime
    who: str
    settled_at: datetime | None

    @property
    def is_open(self) -> bool:
        """Whether it is still to be done."""
        return self.state == OPEN


class Decisions:
    """The decisions of one unit of work.

    Parameters
    ----------
    pen : Pen
        The connection, who writes and when.
    history : HistoryRepository
        Takes one line for every write.
    """

    def __init__(self, pen: Pen, history: HistoryRepository) -> None:
        self._pen = pen
        self._history = history

    # --- reading -----------------------------------------------------------------------------

    def get(self, decision_id: int) -> Decision:
        """Return one decision.

        Raises
        ------
        NotFoundError
            If there is none of that number.
        """
        known = decision_id <= LARGEST_ID
        found = self._read(DecisionRow.id == decision_id) if known else ()
        if not found:
            raise NotFoundError(
                f"expected the number of a decision, got {decision_id}; look at the week"
            )
        return found[0]

    def open_about(self, row_key: str) -> tuple[Decision, ...]:
        """Return the open decisions about one row, oldest first."""
        return self._read((DecisionRow.row_key == row_key) & (DecisionRow.state == OPEN))

    def about_week(self, week: str) -> tuple[Decision, ...]:
        """Return all decisions about rows of one week, oldest first."""
        return tuple(map(_decision, _OF_WEEK.named(self._pen.connection, of=week)))

    def open_or_settled_since(self, since: datetime) -> tuple[Decision, ...]:
        """Return the open decisions and those settled at or after ``since``, oldest first."""
        return self._read((DecisionRow.state == OPEN) | (DecisionRow.settled_at >= since))

    def _read(self, chosen: ColumnElement[bool]) -> tuple[Decision, ...]:
        rows = self._pen.connection.execute(_ALL.where(chosen)).mappings()
        return tuple(_decision(dict(row)) for row in rows)

    # --- writing -----------------------------------------------------------------------------

    def add(self, about: About, plan: Plan) -> int:
        """Keep a new decision and return its number."""
        who, at = self._pen.require()
        row = {
            "week": about.week,
            "row_key": about.row_key,
            "said": about.said,
            **_columns(plan),
            "state": OPEN,
            "outcome": "",
            "at": at,
            "who": who,
            "settled_at": None,
        }
        query = insert(DecisionRow).values(row).returning(DecisionRow.id)
        decision_id = self._pen.connection.scalars(query).one()
        self._history.add("decided", None, f"{_named(decision_id, plan)}; about {about.row_key}")
        return decision_id

    def change(self, decision_id: int, plan: Plan) -> None:
        """Give a decision another plan."""
        self._write(decision_id, _columns(plan))
        self._history.add("decision changed", None, _named(decision_id, plan))

    def settle(self, decision_id: int, *, state: str, outcome: str) -> None:
        """Note that a decision was done or dropped, and what came of it."""
        _, at = self._pen.require()
        new = {"state": state, "outcome": outcome, "settled_at": at}
        self._write(decision_id, new)
        self._history.add(f"decision {state}", None, f"number {decision_id}: {outcome}")

    def reopen(self, decision_id: int) -> None:
        """Take a settled decision up again; what came of it so far stays in the history."""
        new = {"state": OPEN, "outcome": "", "settled_at": None}
        self._write(decision_id, new)
        self._history.add("decision taken up again", None, f"number {decision_id}")

    def _write(self, decision_id: int, values: dict[str, Any]) -> None:
        self._pen.require()
        changed = update(DecisionRow).where(DecisionRow.id == decision_id)
        self._pen.connection.execute(changed.values(**values))


def _columns(plan: Plan) -> dict[str, Any]:
    return {"what": plan.what, "owner": plan.owner, "due": plan.due}


def _named(decision_id: int, plan: Plan) -> str:
    return f"number {decision_id}: {plan.what} ({plan.owner}, by {plan.due.isoformat()})"


def _decision(row: dict[str, Any]) -> Decision:
    about = About(**{name: row.pop(name) for name in ("week", "row_key", "said")})
    plan = Plan(**{name: row.pop(name) for name in ("what", "owner", "due")})
    return Decision(about=about, plan=plan, **row)
