"""Answers as text for the terminal and as JSON; no answer is computed here."""

import json
from collections.abc import Iterable, Mapping
from textwrap import fill
from typing import Any

from kb.case.model import Job, Phase
from kb.case.parse import Parsed, Question
from kb.case.terms import Vocabulary
from kb.workflow.suggest import SeenBefore, Suggestion
from web.case_words import standing_words
from web.cause_words import cause_cells, cause_json, lines_under, missing_words, nothing_words
from web.check_words import check_rows, next_json
from web.close_parts import part_words
from web.layout import WIDTH, table, visible_json
from web.wording import (
    PHASES,
    choice_words,
    named,
    percent,
    reading_words,
    symptom_words,
    with_signs,
)


def _question(row: Question) -> str:
    options = f" ({choice_words(row.options)})" if row.options else ""
    return f"{row.text}: {row.why}{options}"


def understood(parsed: Parsed, words: Vocabulary) -> list[str]:
    """Return what was read from a text, a line a kind, with what stayed unread or is asked back."""
    readings = [
        reading_words(row, words)
        + ("" if group.phase is Phase.BEFORE else f" ({PHASES[group.phase]})")
        for group in parsed.reading_sets
        for row in group.readings
    ]
    findings = [
        f"{words.check_name(row.check)}{f' ({row.subject})' if row.subject else ''}: "
        f"{row.outcome.replace('_', ' ')}" + (f" x{row.repeats}" if row.repeats > 1 else "")
        for row in parsed.findings
    ]
    codes = [row.code for row in parsed.codes]
    if parsed.scan and parsed.scan.none_found:
        codes.append("scanned, none found")
    kinds = (
        ("symptoms", [symptom_words(row, words) for row in parsed.symptoms]),
        ("readings", readings),
        ("codes", codes),
        ("findings", findings),
        ("did not cure", [f"{row.part} {row.text}".strip() for row in parsed.tried]),
        ("unread", [row.text for row in parsed.unread]),
        ("asked back", [_question(row) for row in parsed.questions]),
        ("refused", [with_signs(row.message) for row in parsed.refused]),
    )
    rows = [(name, "; ".join(texts)) for name, texts in kinds if texts]
    return table(rows, widths=(13, WIDTH - 15)) if rows else ["nothing understood; words only"]


def _reason_lines(match: SeenBefore) -> str:
    shown = (*match.speaks_for, *match.speaks_against)
    return "\n".join(f"{row.weight:+.1f} {with_signs(row.what)}" for row in shown)


def match_rows(suggestion: Suggestion, words: Vocabulary) -> list[str]:
    """Return the cases seen before, a row each, with their strongest reasons."""
    rows = [("case", "chance", "what it was", "why it is here (+ for, - against)")]
    for row in suggestion.matches:
        cause = words.cause_name(row.cause) if row.cause else "no cause found"
        name = f"{cause} ({standing_words(row.standing, row.origin)})"
        rows.append((row.case, percent(row.chance), name, _reason_lines(row)))
    return table(rows, widths=(14, 8, 28, WIDTH - 56))


def cause_rows(suggestion: Suggestion, words: Vocabulary) -> list[str]:
    """Return the likely causes with chance and cases, "something else" always among them."""
    widths = (10, 54, 32)
    head = ("chance", "cause (+ for, - against, ? not known yet)", "cases here")
    lines = table([head], widths=widths)
    for row in suggestion.shown:
        lines += table([cause_cells(row, suggestion, words)], widths=widths)
        lines += lines_under(row, suggestion, WIDTH)
    return lines


def _answer_blocks(suggestion: Suggestion, words: Vocabulary) -> list[tuple[str, list[str]]]:
    seen, causes = match_rows(suggestion, words), cause_rows(suggestion, words)
    checks = check_rows(suggestion, words)
    if suggestion.nothing_like_it:
        return [
            ("Nothing like it here yet", fill(nothing_words(suggestion), WIDTH).split("\n")),
            ("Nearest cases only, none is like it", seen),
            ("Nearest causes only", causes),
            ("Checks between the nearest causes", checks),
        ]
    return [("Seen before", seen), ("Likely causes", causes), ("Next check", checks)]


def answer_text(parsed: Parsed | None, suggestion: Suggestion | None, words: Vocabulary) -> str:
    """Return the three answers as a person reads them in a terminal of 100 columns.

    ``suggestion`` is None while the shop has no closed job to answer from.
    """
    blocks = []
    if parsed is not None:
        blocks.append(("Understood", understood(parsed, words)))
    if suggestion is None:
        blocks.append(("No closed job yet", ["the answers come with the first case"]))
    else:
        if suggestion.missing:
            left_out = fill(missing_words(suggestion), WIDTH).split("\n")
            blocks.append(("Part of the memory is missing", left_out))
        blocks += _answer_blocks(suggestion, words)
    return "\n\n".join("\n".join([title, "-" * len(title), *lines]) for title, lines in blocks)


def asked_json(parsed: Parsed) -> dict[str, Any]:
    """Return what was understood with the stable keys of ``find --json``."""
    return {
        "text": parsed.text,
        "symptoms": [
            {
                "text": row.text,
                "concept": row.concept,
                "polarity": str(row.polarity),
                "conditions": list(row.conditions),
            }
            for row in parsed.symptoms
        ],
        "readings": [
            {
                "quantity": row.quantity,
                "value": row.typed,
                "unit": row.unit,
                "canonical": row.canonical,
                "phase": str(group.phase),
            }
            for group in parsed.reading_sets
            for row in group.readings
        ],
        "codes": [row.code for row in parsed.codes],
        "findings": [
            {"check": row.check, "subject": row.subject, "outcome": row.outcome}
            for row in parsed.findings
        ],
        "unread": [row.text for row in parsed.unread],
    }


def _match_json(row: SeenBefore) -> dict[str, Any]:
    return {
        "case": row.case,
        "score": round(row.score, 4),
        "chance": round(row.chance, 4),
        "cause": row.cause,
        "standing": str(row.standing),
        "origin": str(row.origin),
        "reasons": [
            {"part": reason.part, "what": reason.what, "weight": round(reason.weight, 4)}
            for reason in row.reasons
        ],
    }


def answer_json(parsed: Parsed, suggestion: Suggestion | None) -> dict[str, Any]:
    """Return one answer with the stable keys of ``find --json``."""
    if suggestion is None:
        suggestion = Suggestion(matches=(), causes=(), checks=(), nothing_like_it=True)
    return {
        "asked": asked_json(parsed),
        "matches": [_match_json(row) for row in suggestion.matches],
        "causes": [
            cause_json(row, suggestion.why(row.cause))
            for row in suggestion.causes
            if row.cause is None or row.chance >= 5e-7
        ],
        **next_json(suggestion),
        "nothing_like_it": suggestion.nothing_like_it,
        "parts": suggestion.parts,
        "missing_parts": suggestion.missing,
    }


def json_line(value: Mapping[str, Any]) -> str:
    """Return one JSON object on one line."""
    return visible_json(json.dumps(value, ensure_ascii=False))


def ended_as(job: Job, words: Vocabulary) -> str:
    """Return what a closed job turned out to be: its cause, or how it ended without one."""
    if job.closing is None:
        return "open"
    return words.cause_name(job.cause) if job.cause else named(words.job_ends, job.closing.end)


def job_text(job: Job, words: Vocabulary) -> str:
    """Return a job as a person reads it: complaint, cause, correction, then the rest."""
    rows: list[tuple[str, str]] = [("state", f"{job.state}, opened {job.opened.isoformat()}")]
    vehicle = " ".join(
        str(part)
        for part in (job.vehicle.year, job.vehicle.make, job.vehicle.model, job.vehicle.engine)
        if part
    )
    rows += [("vehicle", vehicle)] if vehicle else []
    rows += [("complaint", job.complaint.said)] if job.complaint.said else []
    rows += [("typed", line) for line in job.lines]
    rows += [("symptom", symptom_words(row, words)) for row in job.symptoms]
    rows += [("code", row.code) for row in job.codes]
    rows += _reading_rows(job, words)
    rows += [
        ("check", f"{words.check_name(row.check)} -> {row.outcome.replace('_', ' ')} {row.note}")
        for row in job.findings
    ]
    rows += [("did not cure", f"{row.part} {row.text}") for row in job.tried]
    rows += _closing_rows(job, words)
    return "\n".join([job.id, "-" * len(job.id), *table(rows, widths=(16, WIDTH - 18))])


def _reading_rows(job: Job, words: Vocabulary) -> Iterable[tuple[str, str]]:
    for group in job.reading_sets:
        yield PHASES[group.phase], "; ".join(reading_words(row, words) for row in group.readings)


def _closing_rows(job: Job, words: Vocabulary) -> list[tuple[str, str]]:
    closing = job.closing
    if closing is None:
        return []
    rows = [
        ("ended", named(words.job_ends, closing.end)),
        ("cause", words.cause_name(closing.cause)),
    ]
    rows += [
        ("proof", f"{named(words.proof_methods, row.method)}: {row.text}") for row in closing.proofs
    ]
    done = ": ".join(part for part in (closing.fix, closing.fix_text) if part)
    rows += [("correction", done or "none written down")]
    rows += [("part", part_words(row)) for row in closing.parts]
    rows += [("good until", closing.until.isoformat())] if closing.until else []
    rows += [("after", row.text) for row in closing.after_checks]
    return rows + ([("remember", closing.lesson)] if closing.lesson else [])
