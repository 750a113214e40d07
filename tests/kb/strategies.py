"""Hypothesis strategies for whole jobs, over the keys of the shop's vocabulary."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from kb.case.casefile import make_reading
from kb.case.model import (
    AfterCheck,
    Change,
    Closing,
    Code,
    Complaint,
    Finding,
    FixKind,
    Job,
    JobState,
    Option,
    Origin,
    Phase,
    Polarity,
    Proof,
    Reading,
    ReadingSet,
    Response,
    Scan,
    Symptom,
    Tried,
    Vehicle,
)
from kb.case.parts import FittedPart
from kb.case.terms import OPEN_OUTCOMES, load_vocabulary
from kb.case.units import Quantity

WORDS = load_vocabulary()
# Half a surrogate pair is no text, and no database keeps a NUL; everything else may be typed,
# quotes and controls among it.
signs = st.characters(exclude_categories=["Cs"], exclude_characters="\0")
texts = st.text(signs, max_size=12)
some_text = st.text(signs, min_size=1, max_size=12)
maybe_text = st.none() | texts
numbers = st.floats(min_value=0, max_value=1e6, allow_nan=False)
cents = st.none() | st.integers(-(2**31) + 1, 2**31 - 1)
bodies = texts.map(lambda text: text.replace("\r", ""))


def keys(rows: Iterable[str]) -> SearchStrategy[str]:
    return st.sampled_from(sorted(rows))


def few(rows: SearchStrategy[Any], most: int = 2) -> SearchStrategy[tuple[Any, ...]]:
    return st.lists(rows, max_size=most).map(tuple)


@st.composite
def typed_values(draw: DrawFn, quantity: Quantity) -> str:
    """Draw a number, a range or a word that the quantity takes, in its canonical unit."""
    low, high = quantity.hard
    number = st.floats(low, high, allow_nan=False).map(lambda value: f"{value:.4f}")
    plain = number | st.tuples(number, number).map("-".join) | st.sampled_from(["OL", "---"])
    whole = st.integers(int(low) + 1, max(int(low) + 1, int(high) - 1)).map(str)
    return draw(plain | whole if int(high) - int(low) > 2 else plain)


@st.composite
def readings(draw: DrawFn) -> Reading:
    quantity = WORDS.quantities[draw(keys(WORDS.quantities))]
    typed = draw(typed_values(quantity))
    return make_reading(WORDS, quantity.key, typed, unit=quantity.unit, position=draw(maybe_text))


@st.composite
def responses(draw: DrawFn) -> Response:
    made = Response(
        change=draw(st.none() | st.sampled_from(Change)),
        action=draw(maybe_text),
        position=draw(maybe_text),
    )
    if not draw(st.booleans()):
        return made
    quantity = WORDS.quantities[draw(keys(WORDS.quantities))]
    made = replace(made, quantity=quantity.key, unit=quantity.unit)
    for side in draw(st.sets(st.sampled_from(["before", "after"]))):
        typed = draw(typed_values(quantity))
        value = make_reading(WORDS, quantity.key, typed, unit=quantity.unit).canonical
        change: dict[str, Any] = {side: value, f"{side}_typed": typed}
        made = replace(made, **change)
    return made


symptoms = st.builds(
    Symptom,
    text=texts,
    concept=st.none() | keys(WORDS.symptoms),
    polarity=st.sampled_from(Polarity),
    position=maybe_text,
    conditions=few(keys(WORDS.conditions)),
    not_conditions=few(keys(WORDS.conditions)),
    response=st.none() | responses(),
)


@st.composite
def findings(draw: DrawFn) -> Finding:
    check = WORDS.checks[draw(keys(WORDS.checks))]
    return Finding(
        check=check.key,
        outcome=draw(st.sampled_from([*check.outcomes, *OPEN_OUTCOMES])),
        subject=draw(maybe_text),
        repeats=draw(st.integers(1, 9)),
        minutes=draw(st.none() | numbers),
        note=draw(texts),
        responses=draw(few(responses())),
    )


options = st.builds(
    Option,
    what=texts,
    kind=st.none() | st.sampled_from(FixKind),
    price_cents=cents,
    remains=texts,
    risk=texts,
    chosen=st.booleans(),
)
closings = st.builds(
    Closing,
    closed=st.dates(),
    end=keys(WORDS.job_ends),
    cause=st.none() | keys(WORDS.causes),
    second_cause=st.none() | keys(WORDS.causes),
    proofs=few(st.builds(Proof, method=keys(WORDS.proof_methods), text=texts, photo=maybe_text)),
    fix=st.none() | st.sampled_from(FixKind),
    fix_text=texts,
    parts=few(
        st.builds(FittedPart, part=some_text.filter(str.strip), supplier=maybe_text, lot=maybe_text)
    ),
    until=st.none() | st.dates(),
    options=few(options),
    after_checks=few(st.builds(AfterCheck, kind=keys(WORDS.after_checks), text=texts)),
    held=st.booleans(),
    overturned_by=maybe_text,
    lesson=texts,
)
vehicles = st.builds(
    Vehicle,
    year=st.none() | st.integers(1900, 2100),
    make=maybe_text,
    model=maybe_text,
    engine=maybe_text,
    transmission=maybe_text,
    vin=maybe_text,
    family=maybe_text,
    odometer=st.none() | numbers,
    odometer_unit=st.none() | st.sampled_from(["mi", "km"]),
    refrigerant=maybe_text,
)


@st.composite
def jobs(draw: DrawFn) -> Job:
    """Draw a whole job, open or closed."""
    found = draw(few(findings()))
    finding = st.none() | st.integers(0, len(found) - 1) if found else st.none()
    sets = st.builds(
        ReadingSet,
        phase=st.sampled_from(Phase),
        state=few(texts),
        readings=few(readings(), 3),
        finding=finding,
    )
    closing = draw(st.none() | closings)
    open_states = st.sampled_from([JobState.OPEN, JobState.WAITING])
    return Job(
        id=draw(some_text),
        opened=draw(st.dates()),
        state=JobState.CLOSED if closing else draw(open_states),
        origin=draw(st.sampled_from(Origin)),
        system=draw(st.none() | keys(WORDS.systems)),
        invoice=draw(st.none() | some_text),
        waits_for=draw(st.none() | some_text),
        comeback_of=draw(st.none() | some_text),
        vehicle=draw(vehicles),
        complaint=draw(
            st.builds(
                Complaint, said=texts, frequency=maybe_text, since=maybe_text, before_it=maybe_text
            )
        ),
        lines=draw(few(texts, 3)),
        symptoms=draw(few(symptoms)),
        reading_sets=draw(few(sets)),
        codes=draw(few(st.builds(Code, code=texts, module=maybe_text, status=maybe_text))),
        scan=draw(st.none() | st.builds(Scan, none_found=st.booleans(), modules=few(texts))),
        findings=found,
        tried=draw(
            few(
                st.builds(
                    Tried,
                    part=texts,
                    text=texts,
                    cost_cents=cents,
                    minutes=st.none() | numbers,
                )
            )
        ),
        closing=closing,
        fields=tuple(draw(st.dictionaries(texts, texts, max_size=2)).items()),
        body=draw(bodies),
    )
