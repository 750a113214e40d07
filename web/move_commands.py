"""The command that moves a shop into another database."""

import click

from kb.store.move import move_shop
from web.home import home_folder, store_url
from web.layout import say


@click.command()
@click.option("--to", "target", required=True, help="URL of an empty database")
def move(target: str) -> None:
    """Copy the whole shop into another database: from SQLite to PostgreSQL, or back."""
    source = store_url(home_folder())
    if source == target:
        raise click.UsageError("expected another database than the shop's own, got the same URL")
    moved = move_shop(source, target, progress=_say)
    say(
        f"{moved['jobs']} jobs and {sum(moved.values())} rows in all are over; counts and hashes "
        "of every table are equal. The old database stays as it was. Before anybody writes again: "
        "end baybook serve, set BAYBOOK_DB to the URL after --to, and start it anew. Photos and "
        "the other files stay in BAYBOOK_HOME."
    )


def _say(table: str, rows: int) -> None:
    say(f"  {table}: {rows}", err=True)
