"""Rules that name a symptom from the words of one clause, or of two or three neighbours.

A rule (``recognise.toml``) is a line of slots, all of which must be met inside one clause:
``name`` the class is said, ``!name`` it is said not to be, ``%name`` hardly, ``=key`` under a
condition, ``-name`` must not be said, ``a/b`` either, ``$name`` a set of alternatives. `` + ``
joins the slots of neighbouring clauses. A line that starts with ``NO`` says that the symptom is
absent ("idle smooth"). The rule with the most slots wins.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from kb.case.grammar.lexicon import Lexicon, phrases
from kb.case.terms import Vocabulary
from kb.errors import VocabularyError

# As a rule of one slot.
_OWN_SCORE: Final = 2.5
# A feature as it is said, denied, or hardly so.
MARKS: Final = ("", "!", "%")
_MARKS_OF_ROW: Final = ("implies", "not_when", "covers", "denied_by")


@dataclass(frozen=True, slots=True)
class Part:
    """The slots that one clause must meet; of the alternatives said, the first one written counts.

    ``said`` holds, for each slot, every feature that can meet it, denied or hardly said too.
    """

    slots: tuple[tuple[str, ...], ...]
    without: frozenset[str]
    said: tuple[frozenset[str], ...] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        """Note the features, so that most clauses are turned away at once."""
        marked = (frozenset(m + name for m in MARKS for name in slot) for slot in self.slots)
        object.__setattr__(self, "said", tuple(marked))


@dataclass(frozen=True, slots=True)
class Rule:
    """One wording of a symptom."""

    concept: str
    parts: tuple[Part, ...]
    score: float
    adds: tuple[str, ...] = ()
    spares: tuple[str, ...] = ()
    covers: tuple[str, ...] = ()
    denied_by: tuple[str, ...] = ()
    absent: bool = False
    own: bool = False


@dataclass(slots=True)
class Rules:
    """All the rules, found by a feature that each of them needs."""

    by_feature: dict[str, list[Rule]] = field(default_factory=dict)
    count: int = 0


def _slot(text: str, sets: Mapping[str, str]) -> tuple[str, ...]:
    # In the order of writing: a set of words is gone through otherwise in every process.
    found: dict[str, None] = {}
    for alternative in text.split("/"):
        if alternative.startswith("$"):
            name = alternative[1:]
            if name not in sets:
                raise VocabularyError(f"recognise.toml, ${name}: expected a set, got none")
            found |= dict.fromkeys(_slot(sets[name], sets))
        else:
            found[alternative] = None
    return tuple(found)


class _Compiler:
    def __init__(self, lexicon: Lexicon, words: Vocabulary, rows: Mapping[str, Any]) -> None:
        self.lexicon, self.words, self.rows = lexicon, words, rows
        self.sets: Mapping[str, str] = rows.get("set", {})
        self.known: dict[str, tuple[str, ...]] = {}

    def rule(self, concept: str, line: str, row: Mapping[str, tuple[str, ...]]) -> Rule:
        absent, line = line.startswith("NO "), line.removeprefix("NO ")
        parts = tuple(self._part(concept, text) for text in line.split(" + "))
        score = sum(2.0 * len(part.slots) for part in parts) + 0.5 * len(parts)
        score += 0.25 * sum(len(part.without) > 0 for part in parts)
        return Rule(
            concept,
            parts,
            score,
            row["implies"],
            row["not_when"],
            row["covers"],
            row["denied_by"],
            absent,
        )

    def _part(self, concept: str, text: str) -> Part:
        slots: list[tuple[str, ...]] = []
        without: set[str] = set()
        for word in text.split():
            found = self._found(concept, word.removeprefix("-"))
            if word.startswith("-"):
                without.update(found)
            else:
                slots.append(found)
        return Part(tuple(slots), frozenset(without))

    def _found(self, concept: str, word: str) -> tuple[str, ...]:
        # Many rules share a slot; each is read and checked once.
        if word not in self.known:
            self.known[word] = _slot(word, self.sets)
            self._check(concept, self.known[word])
        return self.known[word]

    def _check(self, concept: str, found: Iterable[str]) -> None:
        for feature in found:
            name = feature.lstrip("!%=")
            known = self.words.conditions if feature.startswith("=") else self.lexicon.classes
            if name not in known:
                raise VocabularyError(
                    f"recognise.toml, {concept}: expected a class of wording.toml, a part or "
                    f"a condition, got {name}"
                )


def compile_rules(lexicon: Lexicon, words: Vocabulary, rows: Mapping[str, Any]) -> Rules:
    """Return the rules of ``recognise.toml``.

    Raises
    ------
    VocabularyError
        Naming the symptom, and the class or key that is unknown.
    """
    compiler, rules = _Compiler(lexicon, words, rows), Rules()
    made: list[Rule] = []
    for concept, row in rows["symptom"].items():
        if concept not in words.symptoms:
            raise VocabularyError(
                f"recognise.toml, symptom.{concept}: expected a symptom of synonyms.toml, "
                f"got {concept}"
            )
        marks = {name: tuple(phrases(row.get(name, ""))) for name in _MARKS_OF_ROW}
        for key in (*marks["implies"], *marks["not_when"]):
            if key not in words.conditions:
                raise VocabularyError(
                    f"recognise.toml, symptom.{concept}: expected a condition, got {key}"
                )
        lines = (line.strip() for line in row["say"].splitlines())
        made.extend(compiler.rule(concept, line, marks) for line in lines if line)
    none: frozenset[str] = frozenset()
    made.extend(
        Rule(row.key, (Part(((row.name,),), none),), _OWN_SCORE, own=True)
        for row in words.shop.meaning("symptom")
    )
    _index(rules, made)
    return rules


def _index(rules: Rules, made: Sequence[Rule]) -> None:
    rules.count = len(made)
    often = Counter(feature for rule in made for slot in rule.parts[0].slots for feature in slot)
    for rule in made:
        key = min(rule.parts[0].slots, key=lambda slot: sum(often[f] for f in slot))
        for feature in {mark + f.lstrip("!%") for f in key for mark in MARKS}:
            rules.by_feature.setdefault(feature, []).append(rule)
