"""How far the shop's chances may be trusted: measured once a state of the closed jobs, and kept."""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from kb.diagnosis.reliability import Band
from kb.retrieval.snapshot import code_digest
from kb.workflow.memory import Memory
from kb.workflow.trials import MOST_REFITS, measure_own

# File of what was measured; the newest cases that a rebuild asks and how often it fits anew on the
# way, so that it takes minutes at most (our choice).
TRUST: Final = "trust.json"
MOST_ASKED: Final = 400
_REFITS: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """What was said held against what came true.

    ``state`` names closed jobs, words, code and altitude, ``result`` is what ``measure_own`` gives.
    ``bands`` are of all jobs asked, ``known`` of those whose cause had been here before.
    """

    state: str
    measured: date
    result: Mapping[str, Any]
    asked: int
    bands: tuple[Band, ...]
    known: tuple[Band, ...]


def trust_state(memory: Memory) -> str:
    """Return the name of all that the measures depend on."""
    mark = memory.words.shop.mark
    return f"{memory.store.state()} {mark} {code_digest()} {memory.altitude_m:g}"


def measure_trust(memory: Memory, *, today: date, newest: int | None = MOST_ASKED) -> Trust:
    """Ask closed jobs of those closed before them, and hold the chances against the causes.

    The shipped numbers answer, not those fitted to this shop: they were fitted on these very jobs.

    Parameters
    ----------
    memory : Memory
        Gives store, words and altitude.
    today : date
        Kept beside the measures.
    newest : int or None
        How many of the newest cases are asked; None asks all and fits more often on the way.
    """
    state = trust_state(memory)
    with memory.store.read() as unit:
        jobs = unit.jobs.witnesses()
    result = measure_own(
        jobs,
        memory.words,
        altitude_m=memory.altitude_m,
        newest=newest,
        refits=MOST_REFITS if newest is None else _REFITS,
    )
    return _trust({"state": state, "measured": today.isoformat(), "result": result})


def keep_trust(folder: Path, trust: Trust) -> None:
    """Write what was measured beside the database, whole or not at all."""
    row = {"state": trust.state, "measured": trust.measured.isoformat(), "result": trust.result}
    beside = folder / f"{TRUST}.{os.getpid()}"
    beside.write_text(json.dumps(row), encoding="utf-8")
    beside.replace(folder / TRUST)


def kept_trust(folder: Path) -> Trust | None:
    """Return what was measured last; None where nothing was, or the file is torn or foreign."""
    try:
        return _trust(json.loads((folder / TRUST).read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _trust(row: Mapping[str, Any]) -> Trust:
    result = row["result"]
    return Trust(
        state=str(row["state"]),
        measured=date.fromisoformat(row["measured"]),
        result=result,
        asked=int(result["queries"]),
        bands=_bands(result),
        known=_bands(result["seen_before"]),
    )


def _bands(result: Mapping[str, Any]) -> tuple[Band, ...]:
    """Return the bands of a table, each checked: a foreign one is no measure."""
    made = []
    for row in result.get("reliability") or ():
        low, high = (float(end) for end in row["interval"])
        made.append(
            Band(
                low=float(row["low"]),
                high=float(row["high"]),
                answers=int(row["answers"]),
                said=float(row["said"]),
                right=int(row["right"]),
                interval=(low, high),
            )
        )
    return tuple(made)
