"""What the quick forms of a job offer: usual readings by system, checks with their outcomes."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from flask import request

from kb.case.model import Job
from kb.case.term_rows import Baseline, BaselineReading, Caution, CheckTerm, Named
from kb.case.terms import OPEN_OUTCOMES, Vocabulary
from kb.diagnosis.checks import cautions_for
from kb.workflow.suggest import Suggestion
from web import db
from web.wording import PHASES, amount


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingField:
    """One number to fill in; ``known`` says what was read already."""

    name: str
    unit_name: str
    label: str
    units: tuple[str, ...]
    shown: str
    known: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualReadings:
    """The form of a system's usual readings."""

    system: Named
    systems: tuple[Named, ...]
    conditions: tuple[tuple[str, str], ...]
    always: tuple[ReadingField, ...]
    pointed: tuple[ReadingField, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckEntry:
    """A check to be done, with the outcomes that may be tapped."""

    check: CheckTerm
    subject: str | None = None
    cautions: tuple[Caution, ...] = ()

    @property
    def outcomes(self) -> tuple[str, ...]:
        """All outcomes that the check may have."""
        return (*self.check.outcomes, *OPEN_OUTCOMES)


def field_keys(names: Iterable[str]) -> Iterator[tuple[str, str, str | None]]:
    """Return field name, quantity and position of the reading fields among ``names``."""
    for name in names:
        head, _, rest = name.partition(":")
        if head == "read":
            quantity, _, position = rest.partition(":")
            yield name, quantity, position or None


def _read_already(job: Job) -> dict[tuple[str, str | None], str]:
    """Return what was read of each quantity and position, oldest first."""
    found: dict[tuple[str, str | None], list[str]] = {}
    for group in job.reading_sets:
        for row in group.readings:
            text = f"{PHASES[group.phase]} {amount(row.typed, row.unit)}"
            found.setdefault((row.quantity, row.position), []).append(text)
    return {key: ", ".join(texts) for key, texts in found.items()}


def _fields(rows: Iterable[BaselineReading], job: Job, words: Vocabulary) -> list[ReadingField]:
    known, fields = _read_already(job), []
    for row in rows:
        quantity = words.known_quantities[row.quantity]
        for position in row.positions or (None,):
            place = f", {position}" if position else ""
            fields.append(
                ReadingField(
                    name=f"read:{row.quantity}:{position or ''}",
                    unit_name=f"unit:{row.quantity}:{position or ''}",
                    label=quantity.name + place,
                    units=quantity.accepted,
                    shown=quantity.shown,
                    known=known.get((row.quantity, position), ""),
                )
            )
    return fields


def _likely_system(job: Job, answers: Suggestion | None, words: Vocabulary) -> str | None:
    """Return the system of a job: its own, else that of the likeliest cause."""
    if job.system:
        return job.system
    causes = [row.cause for row in answers.causes if row.cause] if answers else []
    return next((words.causes[key].system for key in causes if key in words.causes), None)


def _condition(key: str, words: Vocabulary) -> str:
    # "when hot" would leave open what is hot.
    if key.startswith("engine_"):
        return key.replace("_", " ")
    return words.conditions[key].say if key in words.conditions else key


def _chosen(job: Job, answers: Suggestion | None, words: Vocabulary) -> Baseline:
    wanted = (request.values.get("system") or "", _likely_system(job, answers, words) or "")
    rows = words.baselines
    return next((rows[key] for key in wanted if key in rows), next(iter(rows.values())))


def usual_system(job: Job, answers: Suggestion | None) -> str:
    """Return the key of the system whose usual readings the form has."""
    return _chosen(job, answers, db.words()).system


def usual_readings(job: Job, answers: Suggestion | None) -> UsualReadings:
    """Return the form of usual readings for the system asked for, or the job's likely one."""
    words = db.words()
    baseline = _chosen(job, answers, words)
    return UsualReadings(
        system=words.systems[baseline.system],
        systems=tuple(words.systems[key] for key in words.baselines),
        conditions=tuple((key, _condition(key, words)) for key in baseline.conditions),
        always=tuple(_fields(baseline.always, job, words)),
        pointed=tuple(_fields(baseline.pointed, job, words)),
    )


def check_entry(check: str | None, subject: str | None) -> CheckEntry | None:
    """Return a check ready to be tapped; None for one that the shop does not use."""
    known = db.words().checks.get(check or "")
    return None if known is None else CheckEntry(check=known, subject=subject)


def advised(answers: Suggestion | None) -> tuple[tuple[str | None, str | None], ...]:
    """Return check and subject of everything that "Next check" lists."""
    if answers is None or not answers.settles:
        return ()
    return tuple((row.check, row.subject) for row in answers.checks)


def is_refused(typed: Mapping[str, Any] | None, check: str, subject: str | None) -> bool:
    """Say whether the form that was refused is the one of this check and subject."""
    if not typed or typed.get("entry") != "finding":
        return False
    return typed.get("check") == check and (typed.get("asked") or "") == (subject or "")


def refused_check(typed: Mapping[str, Any], answers: Suggestion | None) -> CheckEntry | None:
    """Return the check whose form was refused where the page would not show it otherwise."""
    if typed.get("entry") != "finding":
        return None
    asked = (typed.get("check"), typed.get("asked") or None)
    look = answers.look.look if answers and answers.look else None
    shown = (*advised(answers), *(((look.check, look.subject),) if look else ()))
    return None if asked in shown else check_entry(*asked)


def checks_of(system: str, words: Vocabulary) -> list[CheckEntry]:
    """Return all checks of a system, those of every system last."""
    rows = [row for row in words.checks.values() if {system, "all"} & set(row.systems)]
    rows.sort(key=lambda row: "all" in row.systems)
    return [
        CheckEntry(check=row, cautions=cautions_for(words, row, causes=(), systems=(system,)))
        for row in rows
    ]
