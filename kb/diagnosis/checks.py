"""The next check: expected information about the cause for each minute of bay time."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.case.grammar.built import Built
from kb.case.term_rows import Caution, CheckTerm
from kb.case.terms import Vocabulary
from kb.diagnosis.access import Work, access_of, opening_minutes, work_of
from kb.diagnosis.blocks import Block, better_to_look, blocks_by_worth
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.information import entropy_bits
from kb.diagnosis.looks import expected_minutes, look_order
from kb.diagnosis.outcome_tables import Pair
from kb.diagnosis.proving import Look, proving_look

Floats = NDArray[np.float64]

# Causes below this chance are left out of the reckoning, at most this many are kept (our choice:
# they cannot change which check is best, and the table stays small).
_LEAST_CHANCE: Final = 0.005
_MOST_CAUSES: Final = 25
# Fewer bits than this settle nothing: "no listed check will settle this" (our choice).
LEAST_BITS: Final = 0.02
MOST_CAUTIONS: Final = 5
# An action whose response is watched needs no limit table; it goes first among equals, taken as
# within a tenth of the best (our choice).
_ACTION_BONUS: Final = 1.1
_LEVEL: Final = {"stop": 0, "care": 1, "note": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckAdvice:
    """A check worth doing next.

    ``bits`` is the expected information about the cause, ``minutes`` the hands-on minutes with
    the access that is not yet open; ``tells`` lists the outcome that each likely cause would give.
    ``beside`` are the other checks worth doing, with their subjects, behind the same access while
    it is not open: they cost ``opening`` minutes less once it is.
    """

    check: str
    subject: str | None
    bits: float
    minutes: float
    cautions: tuple[Caution, ...] = ()
    tells: tuple[tuple[str, str], ...] = ()
    opening: float = 0.0
    beside: tuple[tuple[str, str | None], ...] = ()

    @property
    def bits_per_minute(self) -> float:
        """Information for each minute."""
        return self.bits / self.minutes


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAdvice:
    """Go and look: the first look of the best order, where checking further saves no minutes.

    ``minutes`` are those of this look with its access, ``expected`` those of all looks to expect
    until the cause is found.
    """

    look: Look
    minutes: float
    expected: float
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NextSteps:
    """The checks worth doing next, best first, and the look that is due where there is one.

    ``settles`` is False where no listed check tells anything about the cause.
    """

    checks: tuple[CheckAdvice, ...] = ()
    look: LookAdvice | None = None
    settles: bool = False


def _cautions_of(words: Vocabulary) -> tuple[dict[str, list[str]], list[Caution]]:
    """Return the cautions of each check by key, and those to stop at whichever the check."""
    of_checks: defaultdict[str, list[str]] = defaultdict(list)
    for row in words.cautions.values():
        for check in dict.fromkeys(row.checks):
            of_checks[check].append(row.key)
    stops = [row for row in words.cautions.values() if row.level == "stop" and not row.checks]
    return dict(of_checks), stops


_CAUTIONS: Final = Built(_cautions_of)


def cautions_for(
    words: Vocabulary, check: CheckTerm, *, causes: Iterable[str], systems: Iterable[str]
) -> tuple[Caution, ...]:
    """Return at most five cautions: of the check, the likely causes, the systems; stop first."""
    of_checks, stops = _CAUTIONS.of(words)
    keys = [*check.cautions, *of_checks.get(check.key, ())]
    for cause in causes:
        if cause in words.causes and check.key in words.causes[cause].expect:
            keys += words.causes[cause].cautions
    wanted = set(systems) & set(check.systems)
    if wanted:
        keys += [row.key for row in stops if not wanted.isdisjoint(row.systems)]
    rows = [words.cautions[key] for key in dict.fromkeys(keys)]
    rows.sort(key=lambda row: _LEVEL[row.level])
    return tuple(rows[:MOST_CAUTIONS])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Likely:
    """Likely causes: names (None is "something else"), chances, rows in the model (-1 for None).

    The tables of checks have all causes together as their last row, as "something else" has them.
    """

    names: tuple[str | None, ...]
    chances: Floats
    rows: NDArray[np.int64]

    @property
    def named(self) -> NDArray[np.int64]:
        """Positions of the causes that have a name."""
        return np.flatnonzero(self.rows >= 0)


def _likely(model: CauseModel, chances: Sequence[CauseChance]) -> _Likely:
    # The likeliest come first.
    kept = list(takewhile(lambda row: row.chance >= _LEAST_CHANCE, chances[:_MOST_CAUSES]))
    share = np.array([row.chance for row in kept])
    rows = [model.number(row.cause) if row.cause is not None else -1 for row in kept]
    return _Likely(
        names=tuple(row.cause for row in kept),
        chances=share / share.sum(),
        rows=np.array(rows, np.int64),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Candidate:
    check: CheckTerm
    subject: str
    shares: Floats
    bits: float


def _candidates(model: CauseModel, likely: _Likely, done: set[Pair]) -> list[_Candidate]:
    """Return the checks not done that tell something, by name and subject."""
    found = []
    for pair in sorted({pair for name in likely.names for pair in model.outcomes_.pairs_of(name)}):
        if pair in done or (pair[0], "") in done:
            continue
        table = model.outcomes_.of(pair)
        shares = table.shares[likely.rows]
        told = table.entropies[likely.rows]
        bits = float(entropy_bits(likely.chances @ shares) - likely.chances @ told)
        if bits >= LEAST_BITS:
            check = model.words.checks[pair[0]]
            found.append(_Candidate(check=check, subject=pair[1], shares=shares, bits=bits))
    return found


def next_steps(
    model: CauseModel,
    chances: Sequence[CauseChance],
    *,
    done: Iterable[Pair] = (),
    opened: Iterable[str] = (),
    top: int = 5,
) -> NextSteps:
    """Return the checks that tell most about the cause for each minute, or that a look is due.

    Checks behind one access that is not open are compared as a block. A look is due where it
    costs no more than the best block of checks and the looks after it, or where no check tells
    anything; never where "something else" is the likeliest.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    chances : sequence of CauseChance
        As ``CauseModel.chances`` gives them.
    done : iterable of (check, subject)
        What is known already and never asked again; subject "" where there is none.
    opened : iterable of str
        Access that is open already, as ``access_of`` names it.
    top : int
        How many checks to return.
    """
    likely, known, ready = _likely(model, chances), set(done), set(opened)
    found = _candidates(model, likely, known)
    named = [name for name in likely.names if name is not None]
    looks = [proving_look(model.words, name, done=known, opened=ready) for name in named]
    access = [access_of(row.check) for row in found]
    opening = opening_minutes([*access, *(look.access for look in looks)], ready)
    work = work_of((row.check.typical_minutes for row in found), access, opening)
    blocks = blocks_by_worth(likely.chances, [row.shares for row in found], work)
    order = sorted(blocks, key=lambda block: -_worth(block, found))
    look = None
    if looks and chances[0].cause is not None:
        looking = work_of((look.minutes for look in looks), [k.access for k in looks], opening)
        look = _look_due(model.words, likely, looks, works=(work, looking), blocks=order)
    rows = [at for block in order for at in block.checks][:top]
    alone = work.alone.tolist()
    checks = tuple(_advice(model.words, likely, found, at=k, alone=alone, work=work) for k in rows)
    return NextSteps(checks=checks, look=look, settles=bool(found))


def _worth(block: Block, found: Sequence[_Candidate]) -> float:
    return block.worth * (_ACTION_BONUS if found[block.checks[0]].check.is_action else 1.0)


def _look_due(
    words: Vocabulary,
    likely: _Likely,
    looks: Sequence[Look],
    *,
    works: tuple[Work, Work],
    blocks: Sequence[Block],
) -> LookAdvice | None:
    """Return the first look where it is due; ``works`` are those of checks and of looks."""
    checks, looking = works
    shares = likely.chances[likely.named]
    shares = shares / shares.sum()
    if blocks:
        best = replace(blocks[0], shares=blocks[0].shares[likely.named])
        if not better_to_look(shares, best, checks=checks, looks=looking):
            return None
    first = int(look_order(shares, looking)[0])
    return LookAdvice(
        look=looks[first],
        minutes=float(looking.alone[first]),
        expected=expected_minutes(shares, looking),
        cautions=_cautions(words, likely, looks[first].check, cause=looks[first].cause),
    )


def _cautions(
    words: Vocabulary, likely: _Likely, check: str | None, *, cause: str | None = None
) -> tuple[Caution, ...]:
    named = [name for name in (cause, *likely.names) if name]
    named = list(dict.fromkeys(named))[:3]
    if check is None:
        return ()
    systems = {words.causes[name].system for name in named if name in words.causes}
    return cautions_for(words, words.checks[check], causes=named, systems=systems)


def _advice(
    words: Vocabulary,
    likely: _Likely,
    found: Sequence[_Candidate],
    *,
    at: int,
    alone: Sequence[float],
    work: Work,
) -> CheckAdvice:
    """Return the advice of one check; ``alone`` are the minutes of each that is done alone."""
    row, opening = found[at], alone[at] - float(work.minutes[at])
    access = work.access.tolist()
    behind = [k for k, number in enumerate(access) if opening and number == access[at]]
    return CheckAdvice(
        check=row.check.key,
        subject=row.subject or None,
        bits=row.bits,
        minutes=alone[at],
        cautions=_cautions(words, likely, row.check.key),
        tells=_tells(words, [name for name in likely.names if name], row.check),
        opening=opening,
        beside=tuple((found[k].check.key, found[k].subject or None) for k in behind if k != at),
    )


def _tells(
    words: Vocabulary, causes: Sequence[str], check: CheckTerm
) -> tuple[tuple[str, str], ...]:
    expected = [(name, words.causes[name].expect) for name in causes if name in words.causes]
    return tuple((name, row[check.key]) for name, row in expected if check.key in row)[:4]
