"""The commands that let a shop's records out and in: ``export`` and ``import``."""

import csv
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from kb.errors import ImportTableError
from kb.store.engine import Store
from kb.store.unit_of_work import UnitOfWork
from web.home import home_folder, shop_store, shop_words, writing
from web.layout import say
from web.report import json_line
from web.rights import Role

if TYPE_CHECKING:
    from kb.workflow.exchange.found import Found
    from kb.workflow.exchange.give_out import Given
    from kb.workflow.exchange.taken import Taken
    from kb.workflow.exchange.work_orders import ReadTable

_FORMS = ("cases", "jsonl", "csv")
_PHOTOS = "photos"
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
# Refused records that are shown; all of them stand in the file beside (our choice).
_SHOWN = 5
_LEFT = "left out: passwords, PINs, second factors, sign-ins, links, tokens, forms being sent"
Progress = Callable[[int, int], None]


@contextmanager
def _bar(label: str) -> Iterator[Progress]:
    """Yield what shows on the terminal's second channel how many jobs of all are done."""
    with click.progressbar(length=1, label=label, file=sys.stderr) as bar:

        def told(done: int, total: int) -> None:
            bar.length = max(total, done, 1)
            bar.update(done - bar.pos)

        yield told


# --- out -----------------------------------------------------------------------------------------


@click.command()
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option(
    "--as", "forms", multiple=True, type=click.Choice(_FORMS), help="several times; default: all"
)
@click.option("--schema", is_flag=True, help="print the JSON Schema of the JSON Lines, no more")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def export(folder: Path | None, *, forms: Sequence[str], schema: bool, as_json: bool) -> None:
    """Write all that the shop holds into the new FOLDER: case files, JSON Lines, CSV tables."""
    from kb.workflow.exchange.schema import export_schema  # noqa: PLC0415 (start-up time)

    if schema:
        say(json_line(export_schema()))
        return
    if folder is None:
        raise click.UsageError("expected FOLDER or --schema, got neither")
    with shop_store() as store:
        given = _give_out(store, folder, tuple(dict.fromkeys(forms)) or _FORMS)
    if as_json:
        say(json_line({"folder": str(folder), **_as_json(given)}))
    else:
        for kind, number in sorted(given.counts.items()):
            say(f"{kind.replace('_', ' ')}: {number}")
        say(f"{_LEFT}\nIn {folder}; it names customers, so keep it as you keep the shop's.")
    for job_id in given.damaged:
        say(f"left out: job {job_id} is damaged; see baybook doctor", err=True)
    for photo in given.photos_gone:
        say(f"left out: photo {photo[:12]}, whose file is gone", err=True)
    if given.damaged or given.photos_gone:
        raise SystemExit(1)


def _give_out(store: Store, folder: Path, forms: Sequence[str]) -> "Given":
    from kb.workflow.exchange.give_out import give_out  # noqa: PLC0415 (start-up time)

    with store.read() as unit, _bar("writing jobs") as told:
        return give_out(
            unit,
            folder,
            forms=forms,
            photos=home_folder() / _PHOTOS,
            at=datetime.now(UTC),
            progress=told,
        )


def _as_json(given: "Given") -> dict[str, Any]:
    return {
        "counts": dict(sorted(given.counts.items())),
        "damaged": given.damaged,
        "photos_gone": given.photos_gone,
    }


# --- in ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wanted:
    """How something is to be taken in."""

    path: Path
    form: str | None
    dry: bool
    incomplete: bool


@click.command("import")
@click.argument("path", type=click.Path(exists=True, path_type=Path))
@click.option("--as", "form", type=click.Choice(_FORMS), help="which form of an export to read")
@click.option("--map", "pairs", multiple=True, help="role=column of a table, several times")
@click.option("--map-file", type=_FILE, help="the same as a TOML file")
@click.option("--dry-run", is_flag=True, help="read and report, load nothing")
@click.option("--incomplete", is_flag=True, help="load an export although records are missing")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def import_command(
    path: Path,
    *,
    form: str | None,
    pairs: Sequence[str],
    map_file: Path | None,
    dry_run: bool,
    incomplete: bool,
    as_json: bool,
) -> None:
    """Load what baybook export wrote, a folder of case files, or a CSV table of work orders.

    Of an export and of case files all that the shop does not hold yet is added, and nothing that
    it holds is changed. A table of closed work orders needs --map text=COLUMN --map date=COLUMN.
    """
    wanted = _Wanted(path=path, form=form, dry=dry_run, incomplete=incomplete)
    if path.is_file() and path.suffix != ".jsonl":
        _import_table(wanted, pairs, map_file, as_json=as_json)
        return
    if pairs or map_file is not None:
        raise ImportTableError(f"expected a CSV file with --map, got {path}; leave --map out")
    _import_export(wanted, as_json=as_json)


def _import_export(wanted: _Wanted, *, as_json: bool) -> None:
    from kb.workflow.exchange.found import find_export  # noqa: PLC0415 (start-up time)

    started = time.monotonic()
    found = find_export(wanted.path, wanted.form)
    with shop_store() as store, _bar("reading jobs") as told:
        if wanted.dry:
            with store.read() as unit:
                taken = _take_in(unit, found, wanted, told=told)
        else:
            with writing(store) as unit:
                taken = _take_in(unit, found, wanted, told=told)
    beside = _write_refused(wanted.path, taken)
    kinds = sorted({*taken.read, *taken.added, *taken.known})
    result: dict[str, Any] = {
        "form": found.form,
        "records": {
            kind: {
                "read": taken.read[kind],
                "added": 0 if wanted.dry else taken.added[kind],
                "known_before": taken.known[kind],
            }
            for kind in kinds
        },
        "new": sum(taken.added.values()),
        "refused": len(taken.refused),
        "refused_file": str(beside) if beside else None,
        "seconds": round(time.monotonic() - started, 2),
    }
    say(json_line(result) if as_json else _told(result, wanted))
    if not as_json:
        for row in taken.refused[:_SHOWN]:
            say(f"  {row.place.file}, line {row.place.line}: {row.reason}")


def _told(result: Mapping[str, Any], wanted: _Wanted) -> str:
    lines = [
        f"{kind.replace('_', ' ')}: {row['read']} read, {row['added']} added, "
        f"{row['known_before']} known before"
        for kind, row in result["records"].items()
    ]
    if wanted.dry:
        lines.append(f"a dry run: {result['new']} records would be added, nothing was")
    lines.append(f"refused: {result['refused']}")
    if result["refused_file"]:
        lines.append(f"refused file: {result['refused_file']}")
    return "\n".join(lines)


def _take_in(unit: UnitOfWork, found: "Found", wanted: _Wanted, *, told: Progress) -> "Taken":
    from kb.workflow.exchange.known_words import KnownWords  # noqa: PLC0415 (start-up time)
    from kb.workflow.exchange.take_in import take_in  # noqa: PLC0415 (start-up time)
    from kb.workflow.exchange.taken import Rules, Taking  # noqa: PLC0415 (start-up time)

    words = KnownWords(unit)
    rules = Rules(
        roles=tuple(map(str, Role)),
        photos_from=found.photos,
        photos_to=home_folder() / _PHOTOS,
        dry=wanted.dry,
        incomplete=wanted.incomplete,
    )
    taking = Taking(unit=unit, words=words, rules=rules, progress=told)
    return take_in(taking, found.records(words), name=wanted.path.name)


def _write_refused(path: Path, taken: "Taken") -> Path | None:
    if not taken.refused:
        return None
    whole = path.resolve()
    beside = whole.with_name(f"{whole.stem}.refused.csv")
    with beside.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, quoting=csv.QUOTE_NONNUMERIC)
        writer.writerow(["file", "line", "reason"])
        writer.writerows([row.place.file, row.place.line, row.reason] for row in taken.refused)
    return beside


# --- tables of work orders -----------------------------------------------------------------------


def _import_table(
    wanted: _Wanted, pairs: Sequence[str], map_file: Path | None, *, as_json: bool
) -> None:
    from kb.workflow.exchange import read_mapping, write_refused  # noqa: PLC0415 (start-up time)

    started, file = time.monotonic(), wanted.path
    table = _read_table(file, read_mapping(pairs, map_file))
    added = 0 if wanted.dry else _load(table)
    beside = file.with_name(f"{file.stem}.refused.csv")
    if table.refused:
        write_refused(table, beside)
    result = {
        "read": len(table.jobs) + len(table.refused),
        "good": len(table.jobs),
        "added": added,
        "known_before": None if wanted.dry else len(table.jobs) - added,
        "refused": len(table.refused),
        "refused_file": str(beside) if table.refused else None,
        "seconds": round(time.monotonic() - started, 2),
    }
    if as_json:
        say(json_line(result))
        return
    for key, value in result.items():
        if value is not None:
            say(f"{key.replace('_', ' ')}: {value}")
    for row in table.refused[:_SHOWN]:
        say(f"  line {row.line}: {row.reason}")


def _read_table(file: Path, mapping: Mapping[str, str]) -> "ReadTable":
    from kb.workflow.exchange import read_table  # noqa: PLC0415 (start-up time)

    with shop_store() as store:
        words = shop_words(store)
    with file.open("rb") as stream:
        total = sum(1 for _ in stream)
    with (
        file.open(encoding="utf-8", errors="replace", newline="") as stream,
        click.progressbar(length=total, label="reading", file=sys.stderr) as bar,
    ):
        return read_table(stream, mapping, words=words, progress=lambda _: bar.update(1))


def _load(table: "ReadTable") -> int:
    from kb.workflow.exchange import load_table  # noqa: PLC0415 (start-up time)

    with shop_store() as store, writing(store) as unit:
        return load_table(unit, table)
