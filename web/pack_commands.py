"""The commands that give cases to another shop and take another shop's in."""

import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from kb.case.casefile import write_case
from kb.case.one_line import one_line
from kb.workflow.packs.anonymous import Candidate
from kb.workflow.packs.make import GIVEN, OWN, DraftPack, draft_pack, sender_of
from kb.workflow.packs.take_in import ReadPack, new_in, read_pack, take_in
from kb.workflow.words import words_of
from web.find_filters import read_filter
from web.home import shop_store, today, writing
from web.layout import WIDTH, say, table
from web.report import json_line

# Rows of what was blanked, held back or refused that are printed unasked (our choice).
_MOST_ROWS = 40
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--name", required=True, help="the name by which the other shop shall know this one")
@click.option("--system", help="only cases of this system")
@click.option("--without", multiple=True, help="a case that stays here; several times")
@click.option("--texts", is_flag=True, help="show each case as the other shop would read it")
@click.option("--yes", is_flag=True, help="write it without asking")
def pack(
    file: Path, *, name: str, system: str | None, without: Sequence[str], texts: bool, yes: bool
) -> None:
    """Show the shop's own cases without customers, numbers, people and prices, then write FILE."""
    if file.exists():
        raise click.UsageError(f"expected a new file, got {file}, which is there; name another")
    draft = _draft(system, without)
    say(preview_text(draft, texts=texts))
    if not draft.going:
        raise click.ClickException(
            "expected proven cases of the shop's own to give, got none; close a job with its cause "
            "and its proof first (invented cases and other shops' cases are not given on)"
        )
    if not yes:
        click.confirm(f"\nWrite these {len(draft.going)} cases to {file}?", abort=True)
    # The file comes first: where it cannot be written, the shop's history says nothing of it.
    with shop_store() as store, writing(store) as unit:
        _write_new(file, draft.file(name, today(), sender=sender_of(unit)))
        unit.history.add(GIVEN, None, f"{len(draft.going)} cases as {name}")
    say(f"wrote {len(draft.going)} cases to {file}")


def _draft(system: str | None, without: Sequence[str]) -> DraftPack:
    with shop_store() as store, store.read() as unit:
        wanted, errors = read_filter({"system": system or ""}, words_of(unit))
        if errors:
            raise click.UsageError(f"--system: {errors['system']}")
        wanted = replace(wanted, origins=OWN)
        total = len(unit.case_lists.ids(wanted))
        with click.progressbar(length=total, label="looking through", file=sys.stderr) as bar:
            return draft_pack(unit, wanted=wanted, without=without, progress=bar.update)


def _write_new(file: Path, content: bytes) -> None:
    """Write a file that is not there yet, whole or not at all."""
    aside = file.with_name(f"{file.name}.{os.getpid()}")
    try:
        aside.write_bytes(content)
        aside.replace(file)
    except OSError as error:
        aside.unlink(missing_ok=True)
        raise click.ClickException(f"expected room to write {file}, got: {error}") from error


def preview_text(draft: DraftPack, *, texts: bool) -> str:
    """Return what goes, what was blanked in it and what is held back, for the sender to read."""
    lines = [f"{len(draft.going)} cases would go; {len(draft.held_back)} are held back."]
    lines += [f"{draft.no_case} closed jobs have no cause with a proof, or were overturned."]
    lines += [
        "Dropped from all: VIN, invoice, people, prices, suppliers, photos, links, exact days."
    ]
    if draft.kinds:
        counted = ", ".join(f"{kind} {count}" for kind, count in sorted(draft.kinds.items()))
        lines += ["", f"Blanked in their texts: {counted}"]
        lines += _cut([row for case in draft.going for row in _blanked_rows(case)])
    if draft.held_back:
        lines += ["", "Held back:", *_cut([(row.of, row.held_back) for row in draft.held_back])]
    if texts:
        lines += [f"\n{row.of} goes as\n{write_case(row.job)}" for row in draft.going]
    else:
        lines += [
            "",
            "A name alone is not always seen: read the cases with --texts before you send.",
        ]
    return "\n".join(lines)


def _blanked_rows(case: Candidate) -> list[tuple[str, str]]:
    return [(case.of, f"{row.kind}: {row.text}") for row in sorted(set(case.blanked))]


def _cut(rows: Sequence[tuple[str, str]]) -> list[str]:
    more = len(rows) - _MOST_ROWS
    shown = table(list(rows[:_MOST_ROWS]), widths=(18, WIDTH - 20)) if rows else []
    return [*shown, f"and {more} more; --texts shows all"] if more > 0 else shown


@click.command()
@click.argument("file", type=_FILE)
@click.option("--dry-run", is_flag=True, help="read and report, take nothing in")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def unpack(file: Path, *, dry_run: bool, as_json: bool) -> None:
    """Take in the cases of another shop's pack FILE; they weigh less until confirmed here."""
    started = time.monotonic()
    with shop_store() as store:
        with (
            file.open("rb") as stream,
            click.progressbar(length=1, label="reading", file=sys.stderr) as bar,
        ):
            found = read_pack(stream, today=today(), progress=_into(bar))
        with store.read() as unit:
            new = len(new_in(unit, found))
        added = 0
        if not dry_run and new:
            with writing(store) as unit:
                added = take_in(unit, found)
    seconds = round(time.monotonic() - started, 2)
    say(_taken_text(found, new, added=added, seconds=seconds, as_json=as_json))
    if dry_run and not as_json:
        say(f"a dry run: {new} cases would be taken in, none was")


def _into(bar: Any) -> Callable[[int, int], None]:
    """Return what moves a bar on, whose end is known only when the pack was opened."""

    def told(done: int, total: int) -> None:
        bar.length = total
        bar.update(done - bar.pos)

    return told


def _taken_text(found: ReadPack, new: int, *, added: int, seconds: float, as_json: bool) -> str:
    result = {
        "shop": found.manifest.shop,
        "made": found.manifest.made.isoformat(),
        "good": len(found.jobs),
        "new": new,
        "added": added,
        "known_before": len(found.jobs) - new,
        "refused": len(found.refused),
        "seconds": seconds,
    }
    if as_json:
        why = [{"case": row.id, "reason": row.reason} for row in found.refused]
        return json_line(result | {"why": why})
    lines = [f"{key.replace('_', ' ')}: {value}" for key, value in result.items()]
    lines += [f"  {one_line(reason)} ({count})" for reason, count in _reasons(found)]
    return "\n".join(lines)


def _reasons(found: ReadPack) -> list[tuple[str, int]]:
    return Counter(row.reason for row in found.refused).most_common(_MOST_ROWS)
