"""A job to what the index compares: two texts, tokens with a field and a value, readings.

A token says ``value`` about ``field``; two jobs agree on a token when field and value are equal,
conflict when the field is equal and the value is not, and say nothing to each other otherwise.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from kb.case.clauses import clause_tokens, symptom_tokens
from kb.case.meant_now import as_meant_now
from kb.case.model import Finding, Job, Vehicle
from kb.case.terms import Vocabulary
from kb.retrieval.measures import Measure, case_measures

# Fields of recorded findings with a fixed set of values begin so.
OBSERVED: Final = "observed|"
# Outcomes that say that a check told nothing.
_SILENT = frozenset({"unclear", "not_done"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Token:
    """That ``field`` has ``value``; ``part`` names the kind of evidence, ``what`` the words."""

    part: str
    field: str
    value: str
    what: str

    @property
    def key(self) -> str:
        """Field and value as one key of the postings."""
        return token_key(self.field, self.value)


def token_key(field: str, value: str) -> str:
    """Return field and value as one key of the postings; its last tab parts them again."""
    value = value.replace("\t", " ")
    return f"{field}\t{value}"


def field_of(key: str) -> str:
    """Return the field of a key that ``token_key`` made."""
    return key.rpartition("\t")[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseFeatures:
    """What the index knows of one job.

    ``said`` is what came in (complaint, symptoms, typed lines), ``told`` what was found and done;
    ``group`` is the vehicle group whose own offsets are taken out of readings.
    ``labels`` are closed fields with a value each, which learning takes as its aims.
    """

    case: str
    said: str = ""
    told: str = ""
    tokens: tuple[Token, ...] = ()
    labels: tuple[tuple[str, str], ...] = ()
    measures: tuple[Measure, ...] = ()
    cause: str | None = None
    standing: str = ""
    origin: str = ""
    weight: float = 1.0
    group: str = ""


def said_text(job: Job) -> str:
    """Return the words in which a job came in."""
    parts = [job.complaint.said, *job.lines, *(symptom.text for symptom in job.symptoms)]
    return "\n".join(part for part in dict.fromkeys(parts) if part)


def told_text(job: Job) -> str:
    """Return the words about what was found and done."""
    parts = [row.note for row in job.findings]
    parts += [f"{row.part} {row.text}" for row in job.tried]
    parts += [text for _, text in job.fields]
    if job.closing:
        parts += [row.text for row in job.closing.proofs]
        parts += [job.closing.fix_text, job.closing.lesson]
    return "\n".join(part for part in (*parts, job.body.strip()) if part)


def _clause_token(text: str, words: Vocabulary) -> Token:
    """Return the token of one ``concept|polarity|condition`` clause.

    The value is the state with its polarity, so that swapped states under one condition, and one
    symptom seen here and looked for in vain there, are conflicts.
    """
    # A place or an action that was typed stands last, with bars of its own.
    concept, polarity, condition = text.split("|", 2)
    subject, _, state = concept.partition(":")
    if state:
        return Token(
            part="clause",
            field=f"{subject}|{condition}",
            value=f"{state}|{polarity}",
            what=_say(f"{subject} {state}", polarity, condition=_when(condition, words)),
        )
    part = "condition" if condition else "symptom"
    said = words.symptoms[concept].say if concept in words.symptoms else concept
    return Token(
        part=part,
        field=f"{concept}|{condition}",
        value=polarity,
        what=_say(said, polarity, condition=_when(condition, words)),
    )


def _when(condition: str, words: Vocabulary) -> str:
    known = words.conditions.get(condition)
    return known.say if known else condition.replace("_", " ").removeprefix("at:")


def _say(observation: str, polarity: str, *, condition: str) -> str:
    said = observation.replace("_", " ")
    negated = {"no": "not: ", "weak": "a little: ", "past": "earlier: "}.get(polarity, "")
    return f"{negated}{said}" + (f", {condition}" if condition else "")


def _symptom_tokens(job: Job, words: Vocabulary) -> Iterator[Token]:
    own = words if words.shop.meanings else None
    texts = [token for symptom in job.symptoms for token in symptom_tokens(symptom, own)]
    for line in (job.complaint.said, *(row.text for row in job.symptoms), *job.lines):
        texts += clause_tokens(line, own)
    for text in dict.fromkeys(texts):
        yield _clause_token(text, words)


def finding_token(finding: Finding, words: Vocabulary) -> Token | None:
    """Return the token of a finding: its check and subject, with its outcome as the value."""
    if finding.outcome in _SILENT:
        return None
    subject = (finding.subject or "").lower().strip()
    return Token(
        part="finding",
        field=f"{finding.check}|{subject}",
        value=finding.outcome,
        what=words.check_name(finding.check)
        + (f" ({subject})" if subject else "")
        + f": {finding.outcome.replace('_', ' ')}",
    )


def _finding_tokens(job: Job, words: Vocabulary) -> Iterator[Token]:
    for finding in job.findings:
        token = finding_token(finding, words)
        if token is not None:
            yield token


def observed_token(name: str, value: str) -> Token:
    """Return the token of a recorded finding that has a fixed set of values, "no" being one."""
    return Token(part="observed", field=f"{OBSERVED}{name}", value=value, what=f"{name}: {value}")


def _code_tokens(job: Job) -> Iterator[Token]:
    for row in job.codes:
        yield Token(part="code", field=f"code|{row.code}", value="stored", what=f"code {row.code}")
        yield Token(
            part="scan",
            field=f"code family|{row.code[:3]}",
            value="stored",
            what=f"codes {row.code[:3]}..",
        )
    if job.codes or (job.scan and job.scan.none_found):
        value = "codes stored" if job.codes else "no codes"
        yield Token(part="scan", field="scan", value=value, what=f"scanned, {value}")


def _vehicle_tokens(vehicle: Vehicle) -> Iterator[Token]:
    for name in ("make", "model", "engine", "family"):
        value = getattr(vehicle, name)
        if value:
            field = f"{name}|{value.lower()}"
            yield Token(part="vehicle", field=field, value="same", what=f"{name} {value}")


def vehicle_group(vehicle: Vehicle) -> str:
    """Return the group of vehicles that read alike: make and model, "" where unknown."""
    if not vehicle.model:
        return ""
    return f"{vehicle.make or ''} {vehicle.model}".strip().lower()


def _tried_tokens(job: Job) -> Iterator[Token]:
    for row in job.tried:
        part = row.part.lower()
        yield Token(part="tried", field=f"tried|{part}", value="same", what=f"{part} did not cure")


def case_tokens(job: Job, words: Vocabulary) -> tuple[Token, ...]:
    """Return all tokens of a job, each field and value once."""
    rows: Iterable[Iterator[Token]] = (
        _symptom_tokens(job, words),
        _finding_tokens(job, words),
        _code_tokens(job),
        _vehicle_tokens(job.vehicle),
        _tried_tokens(job),
    )
    unique = {(token.field, token.value): token for part in rows for token in part}
    return tuple(unique.values())


def case_labels(job: Job, words: Vocabulary) -> tuple[tuple[str, str], ...]:
    """Return the closed fields of a case; an imported field may hold several values with ";"."""
    pairs = [("cause", job.cause or ""), ("system", job.system or "")]
    pairs += [("symptom", row.concept or "") for row in job.symptoms]
    known = words.causes.get(job.cause or "")
    pairs.append(("part", known.part if known else ""))
    told = [(name, text) for name, text in job.fields if name != "cost"]
    pairs += [(name, value.strip()) for name, text in told for value in text.split(";")]
    return tuple(dict.fromkeys(pair for pair in pairs if pair[1]))


def case_features(
    job: Job, words: Vocabulary, *, weight: float = 1.0, altitude_m: float = 0.0
) -> CaseFeatures:
    """Return what the index compares of a job.

    Parameters
    ----------
    job : Job
        Open (a query) or closed (a case).
    weight : float
        Trust in the case as a witness, 0 to 1.
    altitude_m : float
        The shop's altitude in metres, for readings derived from gauge pressure.
    """
    job = as_meant_now(job, words)
    return CaseFeatures(
        case=job.id,
        said=words.shop.in_search(said_text(job)),
        told=words.shop.in_search(told_text(job)),
        tokens=case_tokens(job, words),
        labels=case_labels(job, words) if job.closing else (),
        measures=case_measures(job, words, altitude_m=altitude_m),
        cause=job.cause,
        weight=weight,
        group=vehicle_group(job.vehicle),
    )
