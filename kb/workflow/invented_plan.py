"""What invented jobs are made of: read from one file, each key checked against the words."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Self

import tomli

from kb.case.terms import Vocabulary
from kb.errors import VocabularyError

# The file beside the demonstration's cases.
PLAN_FILE: Final = "two_years.toml"

Table = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Platform:
    """A model with one engine; ``share`` is its part of the vehicles that come, ``years`` when."""

    make: str
    model: str
    engine: str
    years: tuple[int, int]
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Technician:
    """Who closes jobs; weeks are counted back from the last one.

    ``share`` is the part of the jobs, ``records`` the part of these that end with a cause and a
    proof, ``symptoms`` how many more symptoms are written down.
    """

    name: str
    share: float
    records: float
    symptoms: int = 0
    since: int | None = None
    until: int | None = None

    def works(self, back: int) -> bool:
        """Say whether the technician is there ``back`` weeks before the last."""
        begun = self.since is None or back < self.since
        return begun and (self.until is None or back >= self.until)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The file: its lists as values, its plain tables as ``tables``."""

    mark: str
    desk: str
    technicians: tuple[Technician, ...]
    suppliers: tuple[tuple[str, float], ...]
    platforms: tuple[Platform, ...]
    tables: Mapping[str, Table]

    @classmethod
    def of(cls, read: Table) -> Self:
        """Return the plan that a read file holds."""
        people = read["people"]
        return cls(
            mark=read["mark"],
            desk=people["desk"],
            technicians=tuple(Technician(**row) for row in people["technicians"]),
            suppliers=tuple((row["name"], row["share"]) for row in read["supplier"]),
            platforms=tuple(_platforms(read["vehicles"]["models"])),
            tables={name: table for name, table in read.items() if isinstance(table, dict)},
        )

    def platform(self, wanted: Table) -> Platform:
        """Return the platform that a planted pattern names."""
        return next(
            row
            for row in self.platforms
            if (row.make, row.model, row.engine)
            == (wanted["make"], wanted["model"], wanted["engine"])
        )


def _platforms(models: Iterable[Table]) -> Iterator[Platform]:
    for row in models:
        first, last = row["years"]
        share = row["share"] / len(row["engines"])
        for engine in row["engines"]:
            yield Platform(
                make=row["make"],
                model=row["model"],
                engine=engine,
                years=(first, last),
                share=share,
            )


def read_plan(folder: Path, words: Vocabulary) -> Plan:
    """Return the plan in ``folder``.

    Raises
    ------
    VocabularyError
        If the file is missing or broken, or names a word that the trade's words do not have.
    """
    file = folder / PLAN_FILE
    try:
        plan = Plan.of(tomli.loads(file.read_text(encoding="utf-8")))
        for what, key, known in _keys(plan, words):
            if key not in known:
                raise VocabularyError(f"{file.name}: expected {what}, got '{key}'")
    except (OSError, tomli.TOMLDecodeError, KeyError, TypeError) as error:
        raise VocabularyError(f"{file.name}: expected a sound file, got {error!r}") from error
    return plan


def _keys(plan: Plan, words: Vocabulary) -> Iterator[tuple[str, str, Iterable[str]]]:
    """Yield every key of the file that a vocabulary must know: what it is, the key, the known."""
    tables = plan.tables
    listed, rules = tables["causes"], tables["vehicles"]
    causes = [*listed["often"], *listed["never"], *listed["weekly"]]
    causes += [tables[name]["cause"] for name in ("rising", "lot", "money", "fleet")]
    causes += [key for key in tables["cluster"]["causes"] if key]
    for rule in (*rules["not_in"], *rules["only_in"]):
        causes += rule.get("causes", ())
        yield from (("a system", key, words.systems) for key in rule.get("systems", ()))
    yield from (("a cause", key, words.causes) for key in causes)
    yield from (
        ("a season's key", key, {**words.causes, **words.systems}) for key in tables["season"]
    )
    parts = {row.part for row in words.causes.values()}
    yield from (("a part", key, parts) for key in tables["course"]["price_of"])
    yield "a part", tables["money"]["part"].replace(" ", "_"), parts
    yield "a symptom", tables["cluster"]["symptom"], words.symptoms
    for row in tables["cluster"]["readings"]:
        yield "a quantity", row["quantity"], words.quantities
    for name in ("ends", "ends_without"):
        yield from (("a job end", key, words.job_ends) for key in tables["course"][name])
    yield from (("a proof", key, words.proof_methods) for key in tables["course"]["proofs"])
    yield from (("an after-check", key, words.after_checks) for key in tables["course"]["after"])
