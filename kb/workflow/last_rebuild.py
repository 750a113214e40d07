"""What the last rebuild fitted, kept in the store: its numbers, and what names its files.

The files beside the database are derived data that anything may overwrite; only those that carry
the name of the last rebuild are read.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from uuid import uuid4

from kb.diagnosis.calibration import SHIPPED, Calibration, from_numbers
from kb.retrieval.sample import Sample
from kb.retrieval.snapshot import code_digest
from kb.store.unit_of_work import UnitOfWork

# The setting that holds it.
_SETTING: Final = "last rebuild"


@dataclass(frozen=True, slots=True, kw_only=True)
class LastRebuild:
    """What one rebuild fitted.

    ``name`` is random and empty before the first rebuild; ``learned`` says whether a file of what
    was learned belongs to it.
    """

    name: str = ""
    learned: bool = False
    code: str = ""
    numbers: Mapping[str, float] = field(default_factory=dict)

    @property
    def calibration(self) -> Calibration:
        """Return the numbers of the chances: those fitted by this very code, else the shipped."""
        return from_numbers(self.numbers) if self.code == code_digest() else SHIPPED

    def mark(self, folder: Path | None, file: str) -> str:
        """Return its name with when its file in ``folder`` was written."""
        try:
            written = (folder / file).stat().st_mtime_ns if folder is not None else 0
        except OSError:
            written = 0
        return f"{self.name} {written}"

    def stamp(self, *, altitude_m: float, terms: str) -> dict[str, object]:
        """Return what a kept index is held against.

        Parameters
        ----------
        altitude_m : float
            The shop's altitude in metres.
        terms : str
            Names the shop's words with which it was fitted.
        """
        return {"altitude_m": altitude_m, "terms": terms, "rebuild": self.name}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebuilt:
    """What a rebuild fitted: numbers of the chances, how many closed fields; from which jobs."""

    numbers: Calibration
    fields: int
    samples: Mapping[str, Sample] = field(default_factory=dict)


def new_rebuild(numbers: Mapping[str, float], *, learned: bool) -> LastRebuild:
    """Return a rebuild under a name that no other shop's shares."""
    return LastRebuild(name=uuid4().hex, learned=learned, code=code_digest(), numbers=numbers)


def last_rebuild(unit: UnitOfWork) -> LastRebuild:
    """Return what the last rebuild fitted."""
    kept = unit.settings.get(_SETTING)
    return LastRebuild(**json.loads(kept)) if kept else LastRebuild()


def keep_rebuild(unit: UnitOfWork, made: LastRebuild) -> None:
    """Keep what a rebuild fitted in place of the one before."""
    row = {
        "name": made.name,
        "learned": made.learned,
        "code": made.code,
        "numbers": dict(made.numbers),
    }
    unit.settings.set(_SETTING, json.dumps(row))
