"""The command that looks whether all that the shop relies on is sound."""

import sys
from datetime import UTC, datetime

import click

from kb.workflow.doctor import Looked, Place, State, examine
from web.home import altitude_m, home_folder, store_url
from web.layout import WIDTH, say, table
from web.report import json_line

_WORDS = {State.SOUND: "sound", State.LOOK: "look at it", State.WRONG: "WRONG"}


@click.command()
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def doctor(*, as_json: bool) -> None:
    """Look whether records, files and machine are sound; exit code 1 where something is wrong."""
    home = home_folder()
    place = Place(url=store_url(home), home=home, photos=home / "photos", altitude_m=altitude_m())
    rows = examine(place, datetime.now(UTC))
    if as_json:
        say(json_line({"looked_at": [_json(row) for row in rows]}))
    else:
        lines = [(row.name, _WORDS[row.state], _said(row)) for row in rows]
        say("\n".join(table(lines, widths=(24, 10, WIDTH - 38))))
    if any(row.state is State.WRONG for row in rows):
        sys.exit(1)


def _said(row: Looked) -> str:
    return f"{row.seen}\nDo: {row.to_do}" if row.to_do else row.seen


def _json(row: Looked) -> dict[str, str]:
    return {"name": row.name, "state": str(row.state), "seen": row.seen, "to_do": row.to_do}
