"""Values to words for the templates; nothing is computed here that a decision rests on."""

from flask import Flask

from kb.case.model import Reading, ReadingSet, Response, Symptom, Vehicle
from kb.diagnosis.checks import CheckAdvice, LookAdvice
from kb.workflow.jobs import vehicle_line
from web import check_words
from web.cause_words import cases_words, missing_words, nothing_words
from web.db import words
from web.wording import (
    amount,
    choice_words,
    guess_words,
    named,
    percent,
    quantity_words,
    response_words,
    set_words,
    symptom_words,
    with_signs,
)


def cause_name(key: str | None) -> str:
    """Return the words for a cause."""
    return words().cause_name(key)


def written_as(key: str | None) -> str:
    """Return under which name a cause was written down, where another stands for it now."""
    row = words().known_causes.get(key or "")
    merged = row is not None and words().shop.now("cause", row.key) != row.key
    return f" (written down as “{row.name}”)" if row is not None and merged else ""


def check_name(key: str) -> str:
    """Return the words for a check."""
    return words().check_name(key)


def how_words(row: LookAdvice) -> str:
    """Return how a look is taken."""
    return check_words.how_words(row, words())


def beside_words(row: CheckAdvice) -> str:
    """Return what else lies behind the access of a check."""
    return check_words.beside_words(row, words())


def symptom(row: Symptom) -> str:
    """Return a symptom with its conditions."""
    return symptom_words(row, words())


def reading_name(row: Reading) -> str:
    """Return quantity and position of a reading."""
    name = quantity_words(row, words())
    return f"{name} ({row.position})" if row.position else name


def reading_value(row: Reading) -> str:
    """Return value and unit of a reading."""
    return amount(row.typed, row.unit)


def response(row: Response) -> str:
    """Return what an action changed."""
    return response_words(row, words())


def phase(row: ReadingSet) -> str:
    """Return when a reading set was taken, and the state of the car."""
    return set_words(row, words())


def proof_name(key: str) -> str:
    """Return the words for a proof method."""
    return named(words().proof_methods, key)


def after_name(key: str) -> str:
    """Return the words for an after-check."""
    return named(words().after_checks, key)


def plain(key: str) -> str:
    """Return a key as words."""
    return key.replace("_", " ")


def money(cents: int | None) -> str:
    """Return an amount with two decimals, a dash where none was written down."""
    return "–" if cents is None else f"{cents / 100:,.2f}"


def vehicle(row: Vehicle) -> str:
    """Return a vehicle in one line."""
    return vehicle_line(row) or "vehicle not written down"


def caution_footer() -> str:
    """Return the sentence that stands under every caution."""
    return words().caution_footer


def init_app(app: Flask) -> None:
    """Make the filters known to the templates."""
    for filter_ in (
        cause_name,
        written_as,
        check_name,
        how_words,
        beside_words,
        symptom,
        reading_name,
        reading_value,
        with_signs,
        response,
        phase,
        proof_name,
        after_name,
        plain,
        money,
        vehicle,
        guess_words,
        percent,
        choice_words,
        cases_words,
        missing_words,
        nothing_words,
    ):
        app.add_template_filter(filter_)
    app.add_template_global(caution_footer)
