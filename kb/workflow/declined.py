"""A safety repair that the customer declined, written out where it is kept."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from kb.case.handover import dangers_of
from kb.case.model import FixKind, Option
from kb.case.terms import Vocabulary

# Chosen, these leave the fault in the car.
NO_REPAIR = frozenset({FixKind.DECLINED, FixKind.WORKAROUND})
# Ends by which the customer declined.
DECLINED_ENDS = frozenset({"declined", "declined_before_proof"})
_WITHOUT_REPAIR = DECLINED_ENDS | {"workaround"}
# Ends by which the car was repaired.
REPAIRED = frozenset({"fixed", "comeback_same", "comeback_other"})

# How the sentence begins, and what stands before who was told.
HEAD = "Safety repair declined."
_TOLD = "Told of the danger: "


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What decides whether the repair was declined; ``told`` is who heard of the danger."""

    end: str
    cause: str | None
    fix: FixKind | None
    options: Sequence[Option]
    told: str = ""


def is_left_undone(choice: Choice) -> bool:
    """Say whether the full repair was left undone by the customer's choice.

    The choice that is marked decides; without one, how the job ended and what was done.
    """
    chosen = [row for row in choice.options if row.chosen]
    if chosen:
        return all(row.kind in NO_REPAIR for row in chosen)
    if choice.end in _WITHOUT_REPAIR or choice.fix in NO_REPAIR:
        return True
    return bool(choice.options) and choice.end not in REPAIRED


def declined_sentence(choice: Choice, *, what: str, words: Vocabulary, today: date) -> str:
    """Return what stands on the case and the customer's page; "" where nobody is in danger.

    Parameters
    ----------
    choice : Choice
        How the job ended.
    what : str
        The repair that was advised.
    words : Vocabulary
        The trade's words.
    today : date
        When it was declined.
    """
    dangers = dangers_of(choice.cause, words)
    if not dangers or not is_left_undone(choice):
        return ""
    told = choice.told.strip()
    heard = f"{_TOLD}{told}." if told else "Who was told is not written down."
    return (
        f"{HEAD} We advised this repair: {what}. The danger without it: "
        f"{' '.join(dangers)} The customer declined it on {today.isoformat()}. {heard}"
    )


def write_out(choice: Choice, *, words: Vocabulary, today: date) -> tuple[Option, ...]:
    """Return the options, the danger of a declined safety repair written at the repair.

    Where no repair was laid before the customer, the usual one of the cause is added as advised.
    """
    options = tuple(choice.options)
    at = next(
        (n for n, row in enumerate(options) if row.kind not in NO_REPAIR and not row.chosen), None
    )
    known = words.known_causes.get(words.shop.now("cause", choice.cause or ""))
    advised = options[at] if at is not None else Option(what=known.fix if known else "")
    sentence = declined_sentence(choice, what=advised.what, words=words, today=today)
    if not sentence:
        return options
    advised = replace(advised, risk=" ".join(filter(None, [advised.risk, sentence])))
    if at is None:
        return (*options, advised)
    return (*options[:at], advised, *options[at + 1 :])


def read_back(risk: str) -> tuple[str, str]:
    """Return a risk as it was typed, without the sentence, and who was told by the sentence."""
    typed, _, sentence = risk.partition(HEAD)
    _, found, told = sentence.partition(_TOLD)
    return typed.strip(), told.removesuffix(".") if found else ""
