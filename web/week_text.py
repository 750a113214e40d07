"""A week as plain text for the terminal and as JSON; the words are those of the page."""

from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import Any

from kb.case.terms import Vocabulary
from kb.workflow.review import Review
from kb.workflow.week.rows import WeekRow
from web.layout import WIDTH
from web.week_page import Shown, WeekAsked, matters_shown, topic_of, topics
from web.week_words.rows import say


def week_lines(
    review: Review, asked: WeekAsked, words: Vocabulary, *, decided: Sequence[str] = ()
) -> list[str]:
    """Return what the page shows: what is worth a decision, what was decided, then the rest."""
    week = review.week
    running = ", still running" if asked.is_running else ""
    lines = [
        f"Week {week}{running}: Monday {week.monday} to Sunday {week.sunday}",
        f"Jobs closed: {review.jobs}, with a proven cause: {review.cases}. "
        f"Counted {review.made_at.astimezone():%Y-%m-%d %H:%M}.",
        *_headed("For a decision"),
    ]
    first = matters_shown(review, words)
    for number, matter in enumerate(first, 1):
        lines += _row(matter.lead, f"{number}. ", do=True)
        for other in matter.others:
            lines += _run("   of the same matter: ", other.said.what)
    if not first:
        lines.append("Nothing in this week is firm enough for a decision.")
    lines += ["", *decided] if decided else []
    for topic in topics(review, words):
        lines += _headed(topic.name)
        for one in topic.rows:
            lines += _row(one, "- ", do=False)
    return lines


def _headed(title: str) -> list[str]:
    return ["", title, "-" * len(title)]


def _row(one: Shown, mark: str, *, do: bool) -> list[str]:
    said, under = one.said, " " * len(mark)
    lines = _run(mark, said.what)
    lines += _run(under, said.numbers) if said.numbers else []
    lines += _run(under, said.do) if do and said.do else []
    return lines + (_run(f"{under}cases: ", " ".join(one.row.cases)) if one.row.cases else [])


def _run(mark: str, text: str) -> list[str]:
    """Return a text in lines; those after the first stand under its first letter."""
    indent = " " * (len(mark) - len(mark.lstrip(" ")) or len(mark))
    return wrap(text, WIDTH, initial_indent=mark, subsequent_indent=indent)


def week_json(
    review: Review, asked: WeekAsked, words: Vocabulary, *, decisions: Iterable[Any] = ()
) -> dict[str, Any]:
    """Return a week with the stable keys of ``week --json``; rows stand most pressing first."""
    return {
        "week": str(review.week),
        "monday": review.week.monday.isoformat(),
        "sunday": review.week.sunday.isoformat(),
        "running": asked.is_running,
        "made": review.made_at.isoformat(),
        "jobs": review.jobs,
        "cases": review.cases,
        "first": [row.key for row in review.first],
        "same_matter": {
            matter.lead.key: [row.key for row in matter.others]
            for matter in review.first_matters
            if matter.others
        },
        "rows": [
            {**row.as_json(), "topic": topic_of(row.kind), "said": _said(row, words)}
            for row in review.rows
        ],
        "decisions": list(decisions),
    }


def _said(row: WeekRow, words: Vocabulary) -> dict[str, str]:
    said = say(row, words)
    return {"what": said.what, "numbers": said.numbers, "do": said.do}
