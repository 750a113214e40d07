"""Which dataclass lies in which table: the names of the dataclass are the columns."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Final

from kb.case.model import (
    AfterCheck,
    Change,
    Closing,
    Code,
    Finding,
    FixKind,
    Option,
    Phase,
    Polarity,
    Proof,
    Reading,
    ReadingSet,
    Response,
    Symptom,
    Tried,
)
from kb.case.parts import FittedPart
from kb.store.columns import Base
from kb.store.tables import (
    AfterCheckRow,
    ClosingRow,
    CodeRow,
    FindingResponseRow,
    FindingRow,
    FittedPartRow,
    OptionRow,
    ProofRow,
    ReadingRow,
    ReadingSetRow,
    SymptomResponseRow,
    SymptomRow,
    TriedRow,
)


@dataclass(frozen=True, slots=True)
class Shape:
    """How one dataclass lies in one table.

    Attributes
    ----------
    table : type of Base
        The table.
    kind : type
        The dataclass.
    nested : tuple of str
        Fields that lie in tables of their own.
    enums : mapping of str to type
        Fields whose text is a word of a closed list.
    deep : bool
        True where a row belongs to a row of another child table (its ``parent``).
    names : tuple of str
        The fields that are columns here.
    keys : int
        How many columns name a row.
    """

    table: type[Base]
    kind: type[Any]
    nested: tuple[str, ...] = ()
    enums: Mapping[str, Callable[[str], Any]] = field(default_factory=dict)
    deep: bool = False
    names: tuple[str, ...] = field(init=False)
    keys: int = field(init=False)

    def __post_init__(self) -> None:
        names = tuple(row.name for row in fields(self.kind) if row.name not in self.nested)
        object.__setattr__(self, "names", names)
        object.__setattr__(self, "keys", len(list(self.table.__table__.primary_key)))


_RESPONSE: Final[Mapping[str, Callable[[str], Any]]] = {"change": Change}
SYMPTOM = Shape(SymptomRow, Symptom, ("response",), {"polarity": Polarity})
SYMPTOM_RESPONSE = Shape(SymptomResponseRow, Response, (), _RESPONSE, deep=True)
READING_SET = Shape(ReadingSetRow, ReadingSet, ("readings",), {"phase": Phase})
READING = Shape(ReadingRow, Reading, deep=True)
CODE = Shape(CodeRow, Code)
FINDING = Shape(FindingRow, Finding, ("responses",))
FINDING_RESPONSE = Shape(FindingResponseRow, Response, (), _RESPONSE, deep=True)
TRIED = Shape(TriedRow, Tried)
CLOSING = Shape(
    ClosingRow, Closing, ("proofs", "parts", "options", "after_checks"), {"fix": FixKind}
)
PROOF = Shape(ProofRow, Proof)
FITTED_PART = Shape(FittedPartRow, FittedPart)
OPTION = Shape(OptionRow, Option, (), {"kind": FixKind})
AFTER_CHECK = Shape(AfterCheckRow, AfterCheck)
SHAPES: Final = (
    SYMPTOM, SYMPTOM_RESPONSE, READING_SET, READING, CODE, FINDING, FINDING_RESPONSE, TRIED,
    CLOSING, PROOF, FITTED_PART, OPTION, AFTER_CHECK,
)  # fmt: skip
