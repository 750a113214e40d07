"""A record with the terms that stand for its own now; what was written stays in the store."""

from collections.abc import Sequence
from dataclasses import replace

from kb.case.model import Finding, Job, Reading, ReadingSet, Response, Symptom, Vehicle
from kb.case.shop_rows import Family, ShopWords
from kb.case.terms import Vocabulary


def family_of(vehicle: Vehicle, families: Sequence[Family]) -> str | None:
    """Return the name of the first family that a vehicle belongs to, None where none is known.

    Examples
    --------
    >>> copse = Family(key="c", name="C platform", members=(("pellarin", "copse"),))
    >>> family_of(Vehicle(make="Pellarin", model="Copse"), [copse])
    'C platform'
    """
    make, model = (vehicle.make or "").lower(), (vehicle.model or "").lower()
    for row in families:
        if model and any(wanted in {(make, model), ("", model)} for wanted in row.members):
            return row.name
    return None


def with_family(vehicle: Vehicle, words: Vocabulary) -> Vehicle:
    """Return a vehicle with the family that the shop says it belongs to."""
    return replace(vehicle, family=family_of(vehicle, words.shop.families) or vehicle.family)


def as_meant_now(job: Job, words: Vocabulary) -> Job:
    """Return ``job`` with each merged term as the one that stands for it now.

    A vehicle without a family has the one that the shop names today.
    """
    shop = words.shop
    if shop.families:
        job = replace(job, vehicle=with_family(job.vehicle, words))
    if not shop.merged:
        return job
    return replace(
        job,
        closing=job.closing
        and replace(
            job.closing,
            cause=_now(shop, "cause", job.closing.cause),
            second_cause=_now(shop, "cause", job.closing.second_cause),
        ),
        findings=tuple(_finding(row, shop) for row in job.findings),
        reading_sets=tuple(_reading_set(row, shop) for row in job.reading_sets),
        symptoms=tuple(_symptom(row, shop) for row in job.symptoms),
    )


def _now(shop: ShopWords, kind: str, key: str | None) -> str | None:
    return key and shop.now(kind, key)


def _response(row: Response, shop: ShopWords) -> Response:
    return replace(row, quantity=_now(shop, "quantity", row.quantity))


def _symptom(row: Symptom, shop: ShopWords) -> Symptom:
    return replace(row, response=row.response and _response(row.response, shop))


def _finding(row: Finding, shop: ShopWords) -> Finding:
    responses = tuple(_response(each, shop) for each in row.responses)
    return replace(row, check=shop.now("check", row.check), responses=responses)


def _reading(row: Reading, shop: ShopWords) -> Reading:
    return replace(row, quantity=shop.now("quantity", row.quantity))


def _reading_set(row: ReadingSet, shop: ShopWords) -> ReadingSet:
    return replace(row, readings=tuple(_reading(each, shop) for each in row.readings))
