"""Decisions in words for the week's page and the terminal, and as JSON; nothing is decided here."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from kb.case.terms import Vocabulary
from kb.store.decisions import Decision
from kb.workflow.decisions import DecidedBefore
from web.week_words.rows import say
from web.week_words.said import Said

# Key of the row of the cars that left in the week itself: gone by the next week, done or not.
_LEFT_THAT_WEEK: Final = "safety:week"


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionSaid:
    """A decision in words.

    ``how`` says how it stands, with owner and day; ``about`` is the row's sentence then; ``now``
    what became of that row, empty where the week shown is not a later one.
    """

    what: str
    how: str
    about: str
    now: str


def kept_sentence(said: Said) -> str:
    """Return what a decision keeps of a row in words: its sentence, then its numbers if any."""
    return f"{said.what}\n{said.numbers}".strip()


def about_words(decision: Decision) -> str:
    """Return the row that a decision is about, as it stood, in one line."""
    return f"{decision.about.week}: {' '.join(decision.about.said.split())}"


def _about_short(decision: Decision) -> str:
    """Return the week and the sentence of the row; its numbers stand on the decision's own page."""
    said, _, _ = decision.about.said.partition("\n")
    return f"{decision.about.week}: {said}"


def decision_said(row: DecidedBefore, words: Vocabulary) -> DecisionSaid:
    """Return a decision in words."""
    return DecisionSaid(
        what=row.decision.plan.what,
        how=_how(row),
        about=_about_short(row.decision),
        now=_now(row, words),
    )


def _how(row: DecidedBefore) -> str:
    decision = row.decision
    owner, due = decision.plan.owner, decision.plan.due.isoformat()
    if decision.settled_at is not None:
        day = decision.settled_at.astimezone().date().isoformat()
        came = f": {decision.outcome}" if decision.outcome else ""
        return f"{decision.state} on {day} ({owner}){came}"
    return f"overdue: {owner}, was due {due}" if row.overdue else f"open: {owner}, by {due}"


def _now(row: DecidedBefore, words: Vocabulary) -> str:
    if not row.compared:
        return ""
    if row.decision.about.row_key == _LEFT_THAT_WEEK:
        return "that was a list of its week; cars that are still not done stand under Safety"
    if row.now is None:
        return "gone from this week's list"
    then = row.decision.about.said.partition("\n")[2]
    numbers = say(row.now, words).numbers
    if not numbers or numbers == then:
        return "still there, with the same numbers" if numbers else "still there"
    return (
        f"still there. Then: {then.rstrip('.')}. Now: {numbers}"
        if then
        else f"still there. {numbers}"
    )


def decided_lines(rows: Iterable[DecidedBefore], words: Vocabulary) -> list[str]:
    """Return decisions as lines for the terminal; none where nothing was decided."""
    lines = []
    for row in rows:
        said = decision_said(row, words)
        lines.append(f"- {said.what} [{said.how}]")
        lines.append(f"  about {said.about}")
        lines += [f"  {said.now}"] if said.now else []
    return ["Decided:", *lines] if lines else []


def decided_json(rows: Iterable[DecidedBefore], words: Vocabulary) -> list[dict[str, Any]]:
    """Return decisions with the stable keys of ``week --json``."""
    return [
        {
            "number": row.decision.id,
            "week": row.decision.about.week,
            "row": row.decision.about.row_key,
            "said": row.decision.about.said,
            "what": row.decision.plan.what,
            "owner": row.decision.plan.owner,
            "due": row.decision.plan.due.isoformat(),
            "state": row.decision.state,
            "outcome": row.decision.outcome,
            "overdue": row.overdue,
            "now": decision_said(row, words).now,
        }
        for row in rows
    ]
