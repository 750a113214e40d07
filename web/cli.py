"""The console script ``baybook``: the same verbs as the pages, in the terminal."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click
from typing_extensions import override

from kb.case.model import AfterCheck, FixKind, Job, Proof
from kb.case.parse import Parsed
from kb.case.parts import read_part
from kb.case.terms import Vocabulary
from kb.errors import KBError
from kb.store.answers import ShownAnswer
from kb.store.engine import Store
from kb.workflow.answers_at_close import FITTED_FOR_A_CLOSE, shown_at_close
from kb.workflow.close import CloseAnswers, close_job, good_until
from kb.workflow.jobs import Entry, Intake, add_text, draft_job, open_job, read_vehicle
from kb.workflow.memory import Memory
from kb.workflow.notes_shown import notes_for
from kb.workflow.suggest import Suggestion
from kb.workflow.trials import read_lines
from kb.workflow.words import words_of
from web import (
    backup_commands,
    doctor_commands,
    exchange_commands,
    measure_commands,
    move_commands,
    pack_commands,
    people_commands,
    serve_commands,
    shop_commands,
    token_commands,
    week_commands,
)
from web.home import shop_memory, shop_store, shop_words, today, writing
from web.layout import say, visible
from web.note_words import note_lines
from web.report import answer_json, answer_text, ended_as, job_text, json_line


class _Commands(click.Group):
    """Turns an error that is meant for a person into one line and exit code 1."""

    @override
    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except KBError as error:
            raise click.ClickException(visible(str(error))) from error
        except BrokenPipeError:
            # The reader of our output went away; click ends quietly.
            raise
        except OSError as error:
            raise click.ClickException(
                f"expected files and folders that this user may use, got: {error}; "
                "look at the path, then try again"
            ) from error


@click.group(cls=_Commands)
def main() -> None:
    """Keep a repair shop's proven repairs, and find them while the next job is still open."""


for _command in (
    backup_commands.init,
    shop_commands.demo,
    serve_commands.serve,
    backup_commands.backup,
    backup_commands.restore_command,
    exchange_commands.import_command,
    exchange_commands.export,
    measure_commands.measure,
    move_commands.move,
    shop_commands.rebuild,
    doctor_commands.doctor,
    people_commands.user,
    token_commands.token,
    pack_commands.pack,
    pack_commands.unpack,
    week_commands.week,
):
    main.add_command(_command)


# --- asking --------------------------------------------------------------------------------------


@main.command()
@click.argument("text", required=False)
@click.option("--vehicle", help="year make model engine")
@click.option(
    "--top", default=5, show_default=True, type=click.IntRange(1, 50), help="how many prior cases"
)
@click.option("--json", "as_json", is_flag=True, help="one JSON object a query")
@click.option(
    "--batch",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="JSON lines with id, ask and perhaps vehicle; one JSON object a line",
)
def find(
    text: str | None, vehicle: str | None, top: int, as_json: bool, batch: Path | None
) -> None:
    """Show prior cases like TEXT, likely causes and the next check."""
    if batch is None and not (text and text.strip()):
        raise click.UsageError("expected TEXT or --batch FILE, got neither")
    with shop_store() as store:
        memory = shop_memory(store)
        if batch is not None:
            for line in _batch(memory, batch, top):
                say(line)
            return
        job, parsed, suggestion = _find(memory, text or "", vehicle, top=top)
        notes = _note_block(store, job, suggestion, memory.words)
    if as_json:
        say(json_line(answer_json(parsed, suggestion)))
    else:
        say(answer_text(parsed, suggestion, memory.words) + notes)


def _batch(memory: Memory, file: Path, top: int) -> Iterator[str]:
    for line in read_lines(file):
        vehicle = line.get("vehicle")
        found = _find(memory, str(line.get("ask") or ""), vehicle and str(vehicle), top=top)
        yield json_line({"id": line.get("id"), **answer_json(*found[1:])})


def _find(
    memory: Memory, text: str, vehicle: str | None, *, top: int
) -> tuple[Job, Parsed, Suggestion]:
    car = read_vehicle(vehicle) if vehicle else None
    entry = draft_job(text, words=memory.words, vehicle=car, today=today())
    return entry.job, entry.parsed, memory.suggest(entry.job, top=top)


def _note_block(store: Store, job: Job, suggestion: Suggestion | None, words: Vocabulary) -> str:
    """Return the shop's notes that fit, a line each under their heading; empty without one."""
    with store.read() as unit:
        lines = note_lines(notes_for(unit, job, suggestion, words=words))
    return "\n".join(["", "", "Shop notes", "----------", *lines]) if lines else ""


# --- an open job ---------------------------------------------------------------------------------


@main.command("open")
@click.argument("text")
@click.option("--said", default="", help="the customer's own sentence")
@click.option("--vehicle", help="year make model engine")
@click.option("--invoice", help="the same number twice gives the same job")
@click.option("--comeback-of", help="the job that this car came back from")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def open_command(
    text: str,
    said: str,
    vehicle: str | None,
    invoice: str | None,
    comeback_of: str | None,
    as_json: bool,
) -> None:
    """Open a job from TEXT and show the three answers."""
    car = read_vehicle(vehicle) if vehicle else None
    intake = Intake(text=text, said=said, vehicle=car, invoice=invoice, comeback_of=comeback_of)
    with shop_store() as store:
        with writing(store) as unit:
            entry = open_job(unit, intake, words=words_of(unit), today=today())
        say(_entry_lines(store, entry, as_json=as_json))


@main.command()
@click.argument("job")
@click.argument("text")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def add(job: str, text: str, as_json: bool) -> None:
    """Add TEXT to the open job JOB and show the three answers."""
    with shop_store() as store:
        with writing(store) as unit:
            entry = add_text(unit, job, text, words=words_of(unit))
        say(_entry_lines(store, entry, as_json=as_json))


def _answers(store: Store, job: Job) -> Suggestion | None:
    """Return the three answers, None while the shop has no closed job."""
    memory = shop_memory(store)
    return memory.suggest(job) if memory.size() else None


def _entry_lines(store: Store, entry: Entry, *, as_json: bool) -> str:
    suggestion = _answers(store, entry.job)
    if as_json:
        return json_line({"job": entry.job.id, **answer_json(entry.parsed, suggestion)})
    return f"job {entry.job.id}\n\n{answer_text(entry.parsed, suggestion, shop_words(store))}"


@main.command()
@click.argument("job")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def show(job: str, as_json: bool) -> None:
    """Show a job or a case; an open one with its three answers."""
    with shop_store() as store:
        with store.read() as unit:
            words, found = words_of(unit), unit.jobs.get(job)
        suggestion = None if found.closing else _answers(store, found)
        notes = "" if found.closing else _note_block(store, found, suggestion, words)
    if as_json:
        head = {"job": found.id, "state": str(found.state), "cause": found.cause}
        typed = draft_job("\n".join(found.lines), words=words, today=found.opened).parsed
        say(json_line(head | ({} if found.closing else answer_json(typed, suggestion))))
        return
    say(job_text(found, words))
    if found.closing is None:
        say("\n" + answer_text(None, suggestion, words) + notes)


# --- closing -------------------------------------------------------------------------------------


def _pairs(values: Sequence[str], what: str) -> list[tuple[str, str]]:
    pairs = []
    for value in values:
        key, _, text = value.partition(":")
        if not key.strip():
            raise click.UsageError(f"expected {what}:words, got '{value}'")
        pairs.append((key.strip(), text.strip()))
    return pairs


def _said_before(store: Store, job_id: str) -> tuple[bool, ShownAnswer | None]:
    """Return whether a job is open, and what is said of it before its cause is told."""
    with store.read() as unit:
        job, size = unit.jobs.get(job_id), unit.jobs.count()
    if job.closing is not None:
        return False, None
    memory = shop_memory(store)
    fitted = memory.as_fitted() or (memory.fitted() if size <= FITTED_FOR_A_CLOSE else None)
    return True, shown_at_close(fitted, job)


@main.command()
@click.argument("job")
@click.option("--end", default="fixed", show_default=True, help="how the job ended")
@click.option("--cause", help="what was wrong")
@click.option("--second-cause", help="a second cause, where there was one")
@click.option("--proof", "proofs", multiple=True, help="METHOD:what was seen or measured")
@click.option("--fix", type=click.Choice([str(kind) for kind in FixKind]), help="what was done")
@click.option("--fix-text", default="", help="the same in words")
@click.option("--part", "parts", multiple=True, help="PART, SUPPLIER, LOT: fitted with this repair")
@click.option("--until", default="", help="the day to which a work-around should last")
@click.option("--after", "afters", multiple=True, help="AFTER-CHECK:what showed that it holds")
@click.option("--lesson", default="", help="one sentence worth remembering")
@click.option("--invoice", help="the same number twice makes one case")
def close(
    job: str,
    end: str,
    cause: str | None,
    second_cause: str | None,
    proofs: Sequence[str],
    fix: str | None,
    fix_text: str,
    parts: Sequence[str],
    until: str,
    afters: Sequence[str],
    lesson: str,
    invoice: str | None,
) -> None:
    """Close JOB with its cause and its proof; it becomes a case."""
    kind = FixKind(fix) if fix else None
    answers = CloseAnswers(
        end=end,
        cause=cause,
        second_cause=second_cause,
        proofs=[Proof(method=m, text=t) for m, t in _pairs(proofs, "METHOD")],
        fix=kind,
        fix_text=fix_text,
        parts=[row for text in parts if (row := read_part(text))],
        until=good_until(until, today=today(), end=end, fix=kind),
        after_checks=[AfterCheck(kind=k, text=t) for k, t in _pairs(afters, "AFTER-CHECK")],
        lesson=lesson,
    )
    with shop_store() as store:
        was_open, shown = _said_before(store, job)
        with writing(store) as unit:
            words = words_of(unit)
            closed = close_job(unit, job, answers, words=words, today=today(), invoice=invoice)
            if was_open:
                unit.answers.keep(job, shown)
    say(f"closed {closed.id}: {ended_as(closed, words)}")


if __name__ == "__main__":
    main()
