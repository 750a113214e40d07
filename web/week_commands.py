"""The command that shows a week in the terminal."""

from datetime import UTC, datetime
from getpass import getuser

import click

from kb.case.iso_week import IsoWeek
from kb.workflow.decisions import decided_before
from kb.workflow.review import Review, review_week
from web.decision_words import decided_json, decided_lines
from web.home import shop_memory, shop_store, today
from web.report import json_line
from web.week_words.rows import say


@click.command()
@click.option("--week", "typed", help="like 2026-W47; the newest whole one unless told otherwise")
@click.option("--again", is_flag=True, help="count it again")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def week(*, typed: str | None, again: bool, as_json: bool) -> None:
    """Show what a week says: what repeats, what rises, what came back."""
    wanted = IsoWeek.parse(typed) if typed else IsoWeek.last_whole(today())
    with shop_store() as store:
        memory = shop_memory(store)
        review = review_week(memory, wanted, who=getuser(), now=datetime.now(UTC), anew=again)
        if review is None:
            raise click.ClickException(
                f"expected to count {wanted} alone, got another who counts it now; "
                "try again in a moment"
            )
        with store.read() as unit:
            decided = decided_before(unit, review, now=datetime.now(UTC), today=today())
        words = memory.words
        if as_json:
            click.echo(json_line({**_as_json(review), "decisions": decided_json(decided, words)}))
            return
        click.echo(f"Week {wanted}: {review.jobs} jobs closed, {review.cases} with a proven cause")
        for line in decided_lines(decided, words):
            click.echo(line)
        for row in review.rows:
            said = say(row, words)
            click.echo(f"- {said.what} {said.numbers}".rstrip())


def _as_json(review: Review) -> dict[str, object]:
    return {
        "week": str(review.week),
        "made": review.made_at.isoformat(),
        "jobs": review.jobs,
        "cases": review.cases,
        "first": [row.key for row in review.first],
        "rows": [row.as_json() for row in review.rows],
    }
