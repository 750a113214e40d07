"""The command that measures the answers, and how it prints what it found."""

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import click

from kb.case.terms import load_vocabulary
from kb.workflow.phrases import measure_phrases
from kb.workflow.structured import measure_diagnosis
from kb.workflow.technician import MOST_JOBS, measure_minutes
from kb.workflow.trials import measure_collection, measure_queries
from kb.workflow.trust import keep_trust, measure_trust
from web.home import home_folder, shop_memory, shop_store, today
from web.layout import say
from web.measure_words import foreman_lines, measure_lines
from web.report import json_line

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)
_COUNT = click.IntRange(min=1)


# An option, the one that it goes with, and how that one is written.
_GOES_WITH: Final = (
    ("details", "queries", "--queries FILE"),
    ("stored", "diagnosis", "--diagnosis FOLDER"),
    ("minutes", "diagnosis", "--diagnosis FOLDER"),
    ("jobs", "minutes", "--minutes"),
    ("fill", "minutes", "--minutes"),
    ("learn", "collection", "--collection DIR"),
    ("folds", "phrases", "--phrases FILE"),
)


@click.command()
@click.option("--collection", type=_FOLDER, help="corpus.jsonl, queries.jsonl and qrels.tsv")
@click.option("--learn", is_flag=True, help="with --collection: learn from its closed fields")
@click.option("--queries", type=_FILE, help="JSON lines with id, ask and cause")
@click.option("--diagnosis", type=_FOLDER, help="structured records: stored_cases and queries")
@click.option("--stored", type=_COUNT, help="with --diagnosis: the first so many")
@click.option("--minutes", is_flag=True, help="with --diagnosis: minutes to a proven cause")
@click.option("--jobs", type=_COUNT, help=f"with --minutes: the first so many ({MOST_JOBS})")
@click.option("--fill", is_flag=True, help="with --minutes: fill gaps from records of the cause")
@click.option("--phrases", type=_FILE, help="JSON lines with text, label and perhaps part")
@click.option("--folds", type=click.IntRange(min=2), help="with --phrases: ask every line so")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
@click.option(
    "--details",
    type=click.Path(dir_okay=False, path_type=Path),
    help="with --queries: one CSV row a question",
)
def measure(*, as_json: bool, **asked: Any) -> None:
    """Measure the answers: on a judged collection, on questions, records, phrases, own cases."""
    for name, needed, written in _GOES_WITH:
        if asked[name] and not asked[needed]:
            raise click.UsageError(f"expected {written} with --{name}, got none")
    result = _measured(asked)
    if as_json:
        say(json_line(result))
        return
    own = [] if any(asked.values()) else [*foreman_lines(result), ""]
    say("\n".join([*own, *measure_lines(result)]))


def _measured(asked: Mapping[str, Any]) -> Mapping[str, Any]:
    if asked["collection"]:
        return measure_collection(asked["collection"], load_vocabulary(), learn=asked["learn"])
    if asked["diagnosis"]:
        return _measure_records(asked)
    if asked["phrases"]:
        return measure_phrases(asked["phrases"], folds=asked["folds"])
    if asked["queries"]:
        result, rows = _measure_queries(asked["queries"])
        if asked["details"]:
            _write_details(asked["details"], rows)
        return result
    return _measure_own()


def _measure_records(asked: Mapping[str, Any]) -> Mapping[str, Any]:
    if asked["minutes"]:
        jobs = asked["jobs"] or MOST_JOBS
        return measure_minutes(
            asked["diagnosis"], stored=asked["stored"], jobs=jobs, fill=asked["fill"]
        )
    return measure_diagnosis(asked["diagnosis"], stored=asked["stored"])


def _measure_queries(queries: Path) -> tuple[Mapping[str, Any], list[dict[str, object]]]:
    with shop_store() as store:
        return measure_queries(queries, shop_memory(store), today=today())


def _measure_own() -> Mapping[str, Any]:
    with shop_store() as store:
        memory = shop_memory(store)
        made = measure_trust(memory, today=today(), newest=None)
    keep_trust(home_folder(), made)
    return made.result


def _write_details(path: Path, rows: list[dict[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, fieldnames=["id", "cause", "rank"])
        writer.writeheader()
        writer.writerows(rows)
