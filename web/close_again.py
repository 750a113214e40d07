"""What was answered at a close that was taken back, as the fields of the close page."""

from dataclasses import replace

from kb.case.model import Closing, Job, Option, Phase
from kb.case.retake import as_found
from kb.workflow.declined import read_back
from web.close_form import NOT_AVAILABLE, PROOFS
from web.close_parts import part_fields
from web.filters import money


def option_fields(n: int, row: Option) -> dict[str, str]:
    """Return one choice as the fields of its row; ``n`` counts from 1."""
    return {
        f"option_{n}": row.what,
        f"kind_{n}": row.kind or "",
        f"price_{n}": "" if row.price_cents is None else money(row.price_cents),
        f"remains_{n}": row.remains,
        f"risk_{n}": row.risk,
    }


def _answers(row: Closing) -> dict[str, str]:
    typed = {
        "end": row.end,
        "cause": row.cause or "",
        "second_cause": row.second_cause or "",
        "fix": row.fix or "",
        "fix_text": row.fix_text,
        "until": row.until.isoformat() if row.until else "",
        "lesson": row.lesson,
    }
    typed |= part_fields(row.parts)
    for end, proof in zip(PROOFS, row.proofs, strict=False):
        typed[f"method{end}"] = proof.method
        typed[f"proof_text{end}"] = proof.text
        typed[f"photo{end}"] = proof.photo or ""
    for n, option in enumerate(row.options, 1):
        # The sentence about a declined safety repair is written anew.
        risk, told = read_back(option.risk)
        typed |= option_fields(n, replace(option, risk=risk))
        if told:
            typed["told"] = told
        if option.chosen:
            typed["chosen"] = str(n)
    for check in row.after_checks[:1]:
        said, _, reason = check.text.partition(NOT_AVAILABLE)
        typed |= {"after_kind": check.kind, "after_text": said.removesuffix("; ")}
        typed["other_conditions"] = reason
    return typed


def _readings(closed: Job) -> dict[str, str]:
    """Return what was read again by the name of its field; of several, that of the same state."""
    after = {
        (row.quantity, row.position, state): f"{row.typed} {row.unit}"
        for group in closed.reading_sets
        if group.phase is Phase.AFTER
        for row in group.readings
        for state in (group.state, None)
    }
    typed = {}
    for found in as_found(closed):
        place = (found.reading.quantity, found.reading.position)
        value = after.get((*place, found.state)) or after.get((*place, None))
        if value:
            typed[found.name] = value
    return typed


def fields_again(closed: Job) -> dict[str, str]:
    """Return the fields of the close page as they were answered when the job was closed."""
    typed = {"invoice": closed.invoice or "", "comeback_of": closed.comeback_of or ""}
    return typed | _readings(closed) | (_answers(closed.closing) if closed.closing else {})
