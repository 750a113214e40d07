"""The next check: expected information about the cause for each minute of bay time."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.case.term_rows import Caution, CheckTerm
from kb.case.terms import Vocabulary
from kb.diagnosis.causes import CauseChance, CauseModel

Floats = NDArray[np.float64]

# Minutes to open an access the first time, on top of the hands-on minutes; from memory,
# illustrative; once opened, its checks cost only their own minutes.
ACCESS_MINUTES: Final = {
    "none": 0.0, "hood": 1.0, "interior": 1.0, "lift": 6.0,
    "trim": 45.0, "parts": 60.0, "rack": 15.0, "varies": 10.0,
}  # fmt: skip
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
# Checks that look something up tell nothing about this car by themselves.
_NOT_ADVISED: Final = frozenset({"lookup"})


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckAdvice:
    """A check worth doing next.

    ``bits`` is the expected information about the cause, ``minutes`` the hands-on minutes with
    the access that is not yet open; ``tells`` lists the outcome that each likely cause would give.
    """

    check: str
    subject: str | None
    bits: float
    minutes: float
    cautions: tuple[Caution, ...] = ()
    tells: tuple[tuple[str, str], ...] = ()

    @property
    def bits_per_minute(self) -> float:
        """Information for each minute."""
        return self.bits / self.minutes


def entropy_bits(shares: Floats) -> Floats:
    """Return the entropy of the last axis in bits, with ``0 log 0 = 0``.

    References
    ----------
    Shannon (1948), A mathematical theory of communication, section 6 (from memory).

    Examples
    --------
    >>> round(float(entropy_bits(np.array([9 / 14, 5 / 14]))), 4)
    0.9403
    """
    positive = np.where(shares > 0, shares, 1.0)
    return np.asarray(-(shares * np.log2(positive)).sum(axis=-1), np.float64)


def information_gain(chances: Floats, outcome_shares: Floats) -> float:
    """Return the expected information of a check about the cause, in bits.

    Parameters
    ----------
    chances : array of shape (n_causes,)
        Sum to 1.
    outcome_shares : array of shape (n_causes, n_outcomes)
        P(outcome | cause); rows sum to 1.

    References
    ----------
    Quinlan (1986), Induction of decision trees, section 4 (from memory).
    """
    mixed = chances @ outcome_shares
    return float(entropy_bits(mixed) - chances @ entropy_bits(outcome_shares))


def cautions_for(
    words: Vocabulary, check: CheckTerm, *, causes: Iterable[str], systems: Iterable[str]
) -> tuple[Caution, ...]:
    """Return at most five cautions: of the check, the likely causes, the systems; stop first."""
    keys = list(check.cautions)
    keys += [row.key for row in words.cautions.values() if check.key in row.checks]
    for cause in causes:
        if cause in words.causes and check.key in words.causes[cause].expect:
            keys += words.causes[cause].cautions
    wanted = set(systems) & set(check.systems)
    keys += [
        row.key
        for row in words.cautions.values()
        if row.level == "stop" and not row.checks and wanted & set(row.systems)
    ]
    rows = [words.cautions[key] for key in dict.fromkeys(keys)]
    rows.sort(key=lambda row: _LEVEL[row.level])
    return tuple(rows[:MOST_CAUTIONS])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Likely:
    names: tuple[str | None, ...]
    chances: Floats
    rows: NDArray[np.int64]


def _likely(model: CauseModel, chances: Sequence[CauseChance]) -> _Likely:
    kept = [row for row in chances if row.chance >= _LEAST_CHANCE][:_MOST_CAUSES]
    share = np.array([row.chance for row in kept])
    at = {name: i for i, name in enumerate(model.causes_)}
    rows = np.array([at[row.cause] if row.cause is not None else -1 for row in kept], np.int64)
    return _Likely(names=tuple(row.cause for row in kept), chances=share / share.sum(), rows=rows)


def _subjects(words: Vocabulary, likely: _Likely) -> dict[str, set[str]]:
    """Return the checks that any likely cause expects, with the parts they would act on."""
    found: defaultdict[str, set[str]] = defaultdict(set)
    for name in likely.names:
        row = words.causes.get(name or "")
        for check in row.expect if row else ():
            takes = words.checks[check].subject
            part = row.part.replace("_", " ") if row and takes else ""
            found[check].add(part)
    return found


def next_checks(
    model: CauseModel,
    chances: Sequence[CauseChance],
    *,
    done: Iterable[tuple[str, str]] = (),
    opened: Iterable[str] = (),
    top: int = 5,
) -> tuple[CheckAdvice, ...]:
    """Return the checks that tell most about the cause for each minute, best first.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    chances : sequence of CauseChance
        As ``CauseModel.chances`` gives them.
    done : iterable of (check, subject)
        What is known already and never asked again; subject "" where there is none.
    opened : iterable of str
        Access that is open already.
    top : int
        How many to return.
    """
    likely = _likely(model, chances)
    words, asked, open_now = model.words, set(done), set(opened)
    advice = []
    for key, subjects in _subjects(words, likely).items():
        for subject in sorted(subjects):
            check = words.checks[key]
            if (key, subject) in asked or (key, "") in asked or check.kind in _NOT_ADVISED:
                continue
            advice.append(_advise(model, likely, check, subject=subject, opened=open_now))
    useful = [row for row in advice if row.bits >= LEAST_BITS]
    useful.sort(key=lambda row: (-_worth(words, row), row.check, row.subject or ""))
    return tuple(useful[:top])


def _worth(words: Vocabulary, advice: CheckAdvice) -> float:
    bonus = _ACTION_BONUS if words.checks[advice.check].is_action else 1.0
    return bonus * advice.bits_per_minute


def _advise(
    model: CauseModel, likely: _Likely, check: CheckTerm, *, subject: str, opened: set[str]
) -> CheckAdvice:
    _, shares = model.outcome_shares(check.key, subject)
    overall = model.prior_ @ shares
    table = np.where(likely.rows[:, None] >= 0, shares[likely.rows], overall[None, :])
    access = 0.0 if check.access in opened else ACCESS_MINUTES[check.access]
    named = [name for name in likely.names if name]
    systems = {model.words.causes[n].system for n in named[:3] if n in model.words.causes}
    return CheckAdvice(
        check=check.key,
        subject=subject or None,
        bits=information_gain(likely.chances, table),
        minutes=check.typical_minutes + access,
        cautions=cautions_for(model.words, check, causes=named[:3], systems=systems),
        tells=_tells(model.words, named, check),
    )


def _tells(
    words: Vocabulary, causes: Sequence[str], check: CheckTerm
) -> tuple[tuple[str, str], ...]:
    expected = [(name, words.causes[name].expect) for name in causes if name in words.causes]
    return tuple((name, row[check.key]) for name, row in expected if check.key in row)[:4]
