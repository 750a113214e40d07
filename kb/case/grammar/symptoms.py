"""Symptoms named by the rules met in one clause, or in two or three neighbours.

The syntax of the rules stands in ``kb.case.grammar.rules``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from kb.case.grammar.binding import Bound, BoundClause
from kb.case.grammar.rules import Part, Rule, Rules
from kb.case.model import Polarity

_NEAR_CLAUSES: Final = 2
_MARKS: Final = {Polarity.YES: "", Polarity.NO: "!", Polarity.WEAK: "%", Polarity.PAST: ""}


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
    for said in part.said:
        if said.isdisjoint(features):
            return None
    if not part.without.isdisjoint(features):
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
    slot: Iterable[str], features: Features
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
            no.rule.concept == hit.rule.concept
            and no.score > hit.score
            and set(no.clauses) >= set(hit.clauses)
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
