"""The command that shows a week in the terminal."""

from datetime import UTC, datetime
from getpass import getuser
from typing import Final

import click

from kb.case.iso_week import IsoWeek
from kb.workflow.decisions import decided_before
from kb.workflow.review import first_week, review_week
from web.decision_words import decided_json, decided_lines
from web.home import shop_memory, shop_store, today
from web.layout import say
from web.report import json_line
from web.week_page import WeekAsked
from web.week_text import week_json, week_lines

# Keys as they stand in ``web.week_text.week_json``; the first sign keeps the lines apart.
_KEYS: Final = """\b
Keys of --json:
week, monday, sunday, running  which week, and whether it still runs
made, jobs, cases    when it was counted, jobs closed, with a proven cause
first                keys of the rows worth a decision
same_matter          for each of them the keys of rows of the same matter
rows                 key, kind, subject, topic, level (act, look, know),
                     strength, numbers, cases, said (what, numbers, do)
decisions            what was decided before
"""


@click.command(epilog=_KEYS)
@click.option("--week", "typed", help="like 2026-W47; the newest whole one unless told otherwise")
@click.option("--again", is_flag=True, help="count it again")
@click.option("--json", "as_json", is_flag=True, help="one JSON object, with the keys below")
def week(*, typed: str | None, again: bool, as_json: bool) -> None:
    """Show what a week says: what repeats, what rises, what came back, what was decided.

    The first look at a week counts it, also one by cron: run every Monday, it is counted before
    anybody looks.
    """
    wanted = IsoWeek.parse(typed) if typed else IsoWeek.last_whole(today())
    with shop_store() as store:
        memory, at = shop_memory(store), datetime.now(UTC)
        asked = WeekAsked(week=wanted, today=today(), first=first_week(store))
        if asked.silence:
            raise click.ClickException(f"{wanted}: {asked.silence}")
        review = review_week(memory, wanted, who=getuser(), now=at, anew=again)
        if review is None:
            raise click.ClickException(
                f"expected to count {wanted} alone, got another who counts it now; "
                "try again in a moment"
            )
        with store.read() as unit:
            decided = decided_before(unit, review, now=at, today=today())
        words = memory.words
        if as_json:
            told = decided_json(decided, words)
            say(json_line(week_json(review, asked, words, decisions=told)))
            return
        lines = week_lines(review, asked, words, decided=decided_lines(decided, words))
        say("\n".join(lines))
