"""What the checks of the catalogue would show under each cause, reckoned once."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.case.terms import Vocabulary
from kb.diagnosis.cause_counts import CauseCounts
from kb.diagnosis.information import entropy_bits
from kb.diagnosis.part_names import concerns
from kb.diagnosis.proving import subject_of
from kb.retrieval.features import token_key

Floats = NDArray[np.float64]
# A check with its subject, "" for none.
Pair = tuple[str, str]

# Pseudo-cases with which a profile is shrunk to its prior: kappa of the profile formula.
PSEUDO_CASES: Final = 6.0
# What the catalogue says of a cause is read as "likely", about 0.8 to 0.95; common practice.
EXPECTED_SHARE: Final = 0.85


@dataclass(frozen=True, slots=True, eq=False)
class OutcomeTable:
    """P(outcome | cause) of one check on one subject, all causes together as the last row.

    ``entropies`` holds the entropy of each row in bits.
    """

    shares: Floats
    entropies: Floats


class OutcomeTables:
    """The outcomes of checks by cause.

    Parameters
    ----------
    words : Vocabulary
        The trade's words.
    at : mapping of str to int
        Number of each cause.
    counts : CauseCounts
        The cases.
    prior : array of shape (n_causes,)
        Share of each cause.
    """

    def __init__(
        self, words: Vocabulary, at: Mapping[str, int], *, counts: CauseCounts, prior: Floats
    ) -> None:
        self.words, self.counts, self.prior = words, counts, prior
        self._expecting: defaultdict[str, list[tuple[int, str, str]]] = defaultdict(list)
        for name, row in words.causes.items():
            for check, outcome in row.expect.items():
                self._expecting[check].append((at[name], outcome, row.part))
        self._pairs = {name: self._pairs_of(name) for name in words.causes}
        self._known: dict[Pair, OutcomeTable] = {}

    def _pairs_of(self, cause: str) -> tuple[Pair, ...]:
        checks = [self.words.checks[key] for key in self.words.causes[cause].expect]
        tells = [check for check in checks if not check.is_lookup]
        return tuple((check.key, subject_of(self.words, cause, check)) for check in tells)

    def pairs_of(self, cause: str | None) -> tuple[Pair, ...]:
        """Return the checks of which the catalogue says what a cause would show, looks left out.

        Each comes with the part of the cause that it would act on.
        """
        return self._pairs.get(cause or "", ())

    def of(self, pair: Pair) -> OutcomeTable:
        """Return the table of one of the pairs that ``pairs_of`` names; each is made once."""
        if pair not in self._known:
            shares = self.shares(*pair)[1]
            full = np.vstack([shares, self.prior @ shares])
            self._known[pair] = OutcomeTable(full, entropy_bits(full))
        return self._known[pair]

    def shares(self, check: str, subject: str) -> tuple[tuple[str, ...], Floats]:
        """Return the outcomes of a check and P(outcome | cause), shape ``(n_causes, n_outcomes)``.

        The prior is the catalogue's expected outcome; where it names none, the overall share of
        the outcomes that closed findings had. Where the check acts on a subject, the expectation
        holds for the cause whose part the subject names.
        """
        outcomes = self.words.checks[check].outcomes
        field = f"{check}|{subject}"
        counted = [self.counts.weights(token_key(field, outcome)) for outcome in outcomes]
        seen = np.stack(counted, axis=1)
        overall = (seen.sum(axis=0) + 1 / len(outcomes)) / (seen.sum() + 1)
        prior = np.tile(overall, (len(seen), 1))
        for cause, expected, part in self._expecting.get(check, ()):
            if expected in outcomes and concerns(self.words, check, subject=subject, part=part):
                prior[cause] = (1 - EXPECTED_SHARE) / max(1, len(outcomes) - 1)
                prior[cause, outcomes.index(expected)] = EXPECTED_SHARE
        done = seen.sum(axis=1, keepdims=True)
        shares: Floats = (seen + PSEUDO_CASES * prior) / (done + PSEUDO_CASES)
        return outcomes, shares
