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

from kb.case.binding import Bound, BoundClause
from kb.case.lexicon import Lexicon, phrases
from kb.case.model import Polarity
from kb.case.terms import Vocabulary
from kb.errors import VocabularyError

_NEAR_CLAUSES: Final = 2
_MARKS_OF_ROW: Final = ("implies", "not_when", "covers", "denied_by")
_MARKS: Final = {Polarity.YES: "", Polarity.NO: "!", Polarity.WEAK: "%", Polarity.PAST: ""}


@dataclass(frozen=True, slots=True)
class Part:
    """The slots that one clause must meet."""

    slots: tuple[frozenset[str], ...]
    without: frozenset[str]


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


@dataclass(frozen=True, slots=True)
class Hit:
    """A rule met; ``used`` are the phrases it rests on, ``clauses`` where they stand."""

    rule: Rule
    polarity: Polarity
    score: float
    used: frozenset[int]
    clauses: tuple[int, ...]

    @property
    def slots(self) -> int:
        """How many things the rule asks for."""
        return sum(len(part.slots) for part in self.rule.parts)


@dataclass(slots=True)
class Rules:
    """All the rules, found by a feature that each of them needs."""

    by_feature: dict[str, list[Rule]] = field(default_factory=dict)
    count: int = 0


def _slot(text: str, sets: Mapping[str, str]) -> frozenset[str]:
    found: set[str] = set()
    for alternative in text.split("/"):
        if alternative.startswith("$"):
            name = alternative[1:]
            if name not in sets:
                raise VocabularyError(f"recognise.toml, ${name}: expected a set, got none")
            found |= _slot(sets[name], sets)
        else:
            found.add(alternative)
    return frozenset(found)


class _Compiler:
    def __init__(self, lexicon: Lexicon, words: Vocabulary, rows: Mapping[str, Any]) -> None:
        self.lexicon, self.words, self.rows = lexicon, words, rows
        self.sets: Mapping[str, str] = rows.get("set", {})
        self.known: dict[str, frozenset[str]] = {}

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
        slots: list[frozenset[str]] = []
        without: set[str] = set()
        for word in text.split():
            found = self._found(concept, word.removeprefix("-"))
            if word.startswith("-"):
                without |= found
            else:
                slots.append(found)
        return Part(tuple(slots), frozenset(without))

    def _found(self, concept: str, word: str) -> frozenset[str]:
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
    _index(rules, made)
    return rules


def _index(rules: Rules, made: Sequence[Rule]) -> None:
    rules.count = len(made)
    often = Counter(feature for rule in made for slot in rule.parts[0].slots for feature in slot)
    for rule in made:
        key = min(rule.parts[0].slots, key=lambda slot: sum(often[f] for f in slot))
        for feature in {mark + f.lstrip("!%") for f in key for mark in ("", "!", "%")}:
            rules.by_feature.setdefault(feature, []).append(rule)


Features = dict[str, list[tuple[int, Bound]]]


def features_of(clause: BoundClause, first: int) -> Features:
    """Return the features of a clause; phrases are numbered from ``first``."""
    found: Features = {}
    for number, item in enumerate(clause.bound, start=first):
        mark = _MARKS[item.polarity]
        for kind, name in item.lexeme.classes:
            key = "!" + name if kind == "denied" else mark + name
            found.setdefault(key, []).append((number, item))
    for key in clause.conditions:
        found.setdefault("=" + key, [])
    for name in clause.functions:
        found.setdefault(name, [])
    if clause.numbers:
        found.setdefault("number", [])
    if clause.change:
        found.setdefault(clause.change, [])
    return found


def _meet(part: Part, features: Features) -> tuple[frozenset[int], Polarity, float] | None:
    if any(name in features for name in part.without):
        return None
    used: set[int] = set()
    polarity, lost, missed = Polarity.YES, 0.0, 0
    for slot in part.slots:
        hit = next((features[name] for name in slot if name in features), None)
        if hit is None:
            turned = _turned(slot, features)
            missed += turned is not None and turned[1] is Polarity.NO
            if turned is None or missed > 1:
                return None
            hit, polarity = turned
        elif hit and hit[0][1].polarity is Polarity.PAST:
            polarity = Polarity.PAST
        lost += 0.5 if hit and hit[0][1].lent else 0.0
        used.update(number for number, _ in hit[:1])
    return frozenset(used), polarity, lost


def _turned(
    slot: frozenset[str], features: Features
) -> tuple[list[tuple[int, Bound]], Polarity] | None:
    """Return the phrase that says the contrary of a slot, or hardly says it."""
    for mark, polarity in (("!", Polarity.NO), ("%", Polarity.WEAK)):
        for name in slot:
            hit = features.get(mark + name)
            if hit and hit[0][1].observed:
                return hit, polarity
    return None


def _try(rule: Rule, at: int, features: Sequence[Features]) -> Hit | None:
    first = _meet(rule.parts[0], features[at])
    if first is None:
        return None
    used, polarity, lost = first
    where = [at]
    for part in rule.parts[1:]:
        for other in _neighbours(at, len(features)):
            met = _meet(part, features[other])
            if met is not None and met[1] is not Polarity.NO and not met[0] & used:
                used, lost = used | met[0], lost + met[2] + 0.1 * abs(other - at)
                where.append(other)
                break
        else:
            return None
    if rule.absent or any(name in features[n] for n in where for name in rule.denied_by):
        if polarity is Polarity.NO:
            return None
        polarity = Polarity.NO
    return Hit(rule, polarity, rule.score - lost, used, tuple(sorted(set(where))))


def _neighbours(at: int, count: int) -> Iterable[int]:
    yield at
    for step in range(1, _NEAR_CLAUSES + 1):
        if at + step < count:
            yield at + step
        if at - step >= 0:
            yield at - step


def find_symptoms(
    rules: Rules, features: Sequence[Features], observed: frozenset[int]
) -> tuple[Hit, ...]:
    """Return the symptoms of a text's clauses, best first; no observation is used twice."""
    hits: list[Hit] = []
    for at, here in enumerate(features):
        seen: set[int] = set()
        for name in here:
            for rule in rules.by_feature.get(name, ()):
                if id(rule) not in seen:
                    seen.add(id(rule))
                    hit = _try(rule, at, features)
                    if hit is not None:
                        hits.append(hit)
    hits = _undenied(hits)
    hits.sort(key=lambda hit: (hit.polarity is Polarity.NO, -hit.score, hit.clauses))
    return _choose(hits, observed)


def _undenied(hits: Sequence[Hit]) -> list[Hit]:
    """Leave out what a rule that asks for more denies: "lamp" said, "lamp not on" meant."""
    denied = [hit for hit in hits if hit.polarity is Polarity.NO]
    return [
        hit
        for hit in hits
        if hit.polarity is Polarity.NO
        or not any(
            no.rule.concept == hit.rule.concept and no.score > hit.score and no.used >= hit.used
            for no in denied
        )
    ]


def _choose(hits: Iterable[Hit], observed: frozenset[int]) -> tuple[Hit, ...]:
    taken: list[Hit] = []
    spent: set[int] = set()
    rested_on: set[int] = set()
    for hit in hits:
        core = hit.used & observed
        # A rule of parts alone ("oil puddle") may not take a part that another rests on.
        if (
            core & spent
            or (not core and hit.used & rested_on)
            or any(hit.rule.concept in (one.rule.concept, *one.rule.covers) for one in taken)
        ):
            continue
        taken.append(hit)
        spent |= core
        rested_on |= hit.used
    return tuple(taken)
