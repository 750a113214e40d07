"""Small builders of values for tests; all cars, people and numbers are invented."""

import tempfile
from datetime import date
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image

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
    Phase,
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
from kb.case.terms import load_vocabulary
from kb.store.engine import default_url, sqlite_file
from kb.store.migrate import upgrade

OPENED = date(2026, 5, 12)
CLOSED = date(2026, 5, 14)


@cache
def _migrated() -> bytes:
    """Return the file of an empty store; made once, since migrating takes longer than most tests."""
    with tempfile.TemporaryDirectory() as folder:
        upgrade(default_url(Path(folder)))
        return Path(folder, "baybook.db").read_bytes()


def make_store(url: str) -> None:
    """Make an empty store at ``url``, as ``upgrade`` does; a copy of one where it is a file."""
    file = sqlite_file(url)
    if file is None or file.exists():
        upgrade(url)
    else:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(_migrated())


def a_reading(
    quantity: str = "vent_temp",
    typed: str = "61",
    unit: str = "degF",
    position: str | None = None,
) -> Reading:
    """Return a reading with its canonical value computed."""
    return make_reading(load_vocabulary(), quantity, typed, unit=unit, position=position)


def a_job(id: str = "J900001", **changes: Any) -> Job:  # noqa: A002 - the model's own word
    """Return an open job with a complaint and one symptom."""
    values: dict[str, Any] = {
        "opened": OPENED,
        "system": "hvac",
        "vehicle": Vehicle(year=2014, make="Dunmarrow", model="Packhorse", odometer=98_000.0),
        "complaint": Complaint(said="blows warm at lights"),
        "lines": ("blows warm at lights",),
        "symptoms": (Symptom(text="blows warm at lights", conditions=("at_idle",)),),
    }
    return Job(id=id, **(values | changes))


def a_closing(cause: str | None = "condenser_fan_dead", **changes: Any) -> Closing:
    """Return how a job ended: fixed, with a cause that was seen."""
    values: dict[str, Any] = {
        "closed": CLOSED,
        "end": "fixed",
        "proofs": (Proof(method="seen", text="blades stand still with 12.4 V at the plug"),),
        "fix": FixKind.REPLACED,
        "fix_text": "fan assembly",
    }
    return Closing(cause=cause, **(values | changes))


def a_case(id: str = "J900002", cause: str | None = "condenser_fan_dead", **changes: Any) -> Job:  # noqa: A002
    """Return a closed job with a cause and a proof."""
    values: dict[str, Any] = {"state": JobState.CLOSED, "closing": a_closing(cause)}
    return a_job(id, **(values | changes))


def a_full_case(id: str = "J900003", **changes: Any) -> Job:  # noqa: A002
    """Return a closed job in which every list of the model holds something."""
    values: dict[str, Any] = {
        "invoice": f"INV-{id}",
        "comeback_of": "J900000",
        "scan": Scan(none_found=False, modules=("ECM", "HVAC")),
        "codes": (Code(code="B1234", module="HVAC", status="stored"),),
        "symptoms": (
            Symptom(
                text="warm at lights, cold once rolling",
                concept="ac_cold_on_road_warm_in_traffic",
                position="driver",
                conditions=("at_idle",),
                not_conditions=("at_cruise",),
                response=Response(change=Change.BETTER, action="fog the condenser with water"),
            ),
            Symptom(text="fan silent"),
        ),
        "reading_sets": (
            ReadingSet(
                state=("at_idle",),
                readings=(a_reading(position="driver"), a_reading(typed="58-60")),
                finding=0,
            ),
            ReadingSet(phase=Phase.AFTER, readings=(a_reading(typed="44"),)),
        ),
        "findings": (
            Finding(
                check="condenser_air_boost",
                outcome=load_vocabulary().checks["condenser_air_boost"].outcomes[0],
                subject="condenser",
                repeats=2,
                minutes=6.0,
                note="hose on the condenser",
                responses=(
                    Response(
                        quantity="vent_temp",
                        before_typed="61",
                        after_typed="48",
                        unit="degF",
                        before=a_reading(typed="61").canonical,
                        after=a_reading(typed="48").canonical,
                    ),
                ),
            ),
        ),
        "tried": (Tried(part="fan relay", text="no change", cost_cents=1895, minutes=10.0),),
        "closing": a_closing(
            second_cause="condenser_fouled",
            parts=(FittedPart(part="condenser fan", supplier="Northgate", lot="2631"),),
            until=date(2026, 9, 30),
            options=(
                Option(
                    what="fan assembly",
                    kind=FixKind.REPLACED,
                    price_cents=41250,
                    remains="nothing",
                    risk="none known",
                    chosen=True,
                ),
            ),
            after_checks=(AfterCheck(kind="same_readings", text="44 at the same idle"),),
            held=True,
            overturned_by="J900009",
            lesson="Listen for the fan before the gauges.",
        ),
        "fields": (("component", "fan"),),
        "body": "Told the owner how to hear it himself.",
    }
    return a_case(id, **(values | changes))


def a_picture(
    kind: str = "JPEG",
    *,
    size: tuple[int, int] = (64, 48),
    colour: str = "teal",
    **options: Any,
) -> bytes:
    """Return the bytes of a picture of one colour, its top left quarter red."""
    image = Image.new("RGB", size, colour)
    image.paste("red", (0, 0, size[0] // 2, size[1] // 2))
    out = BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()
