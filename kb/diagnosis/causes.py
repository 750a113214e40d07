"""Chances of causes: a profile a cause, the vote of the nearest cases, and "something else"."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import replace
from itertools import compress
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kb.case.terms import Vocabulary
from kb.diagnosis.calibration import SHIPPED, Calibration
from kb.diagnosis.cause_counts import CauseCounts
from kb.diagnosis.cause_rows import CauseRows
from kb.diagnosis.cause_sample import told_sample
from kb.diagnosis.cause_terms import term_arrays
from kb.diagnosis.cause_texts import CauseText, CauseTexts, fit_texts, texts_of
from kb.diagnosis.chances import CauseChance, Entry, Evidence, log_vote, part_name, ranked, summed
from kb.diagnosis.learned_causes import BESIDE_LEARNED, LEARNED, learned_evidence
from kb.diagnosis.linked import TOGETHER, LinkedFindings
from kb.diagnosis.novelty import oddness
from kb.diagnosis.outcome_tables import PSEUDO_CASES, OutcomeTables
from kb.diagnosis.part_names import names_part
from kb.diagnosis.profiles import ReadingProfile, cause_prior, profile_of_known, recorded_shares
from kb.retrieval.column_arrays import column, named_for, pack_column, part_of
from kb.retrieval.features import CaseFeatures, Token, token_key
from kb.retrieval.index import CaseIndex
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.layers import LayeredIndex
from kb.retrieval.measures import Measure
from kb.retrieval.remembered import Remembered
from kb.retrieval.shards import AnyAsked

Floats = NDArray[np.float64]

COMPLAINT_SHARE: Final = 0.45
# Share of a symptom under a cause that does not list it.
STRAY_SHARE: Final = 0.03
# Share of causes in a part that its replacement fails to cure: a new part may be bad too, or the
# work may have disturbed something; it weakens, it does not rule out. Common practice, no source.
NOT_CURED_SHARE: Final = 0.2
# Evidence parts that repeat what symptoms already say count half (our choice).
PART_WEIGHT: Final = {"condition": 0.5, "clause": 0.2, "vehicle": 0.5, "scan": 0.3}
# Tokens, and readings, of which is remembered what they say of every cause, some 2 kB each (our
# choice).
_MOST_REMEMBERED: Final = 512
# Whose arrays are kept.
_TEXTS, _ROWS, _COUNTS, _CAUSES, _LINKED = "texts", "rows", "counts", "causes", "linked"


class CauseModel:
    """Profiles of all causes that the catalogue or the closed cases know.

    A profile is shrunk to what the catalogue expects, so that a cause without a case still
    counts. Every likelihood is taken relative to the overall share, so that "something else",
    whose profile is the overall share itself, stands at 0.
    """

    def __init__(self, words: Vocabulary, *, calibration: Calibration = SHIPPED) -> None:
        self.words = words
        self.calibration = calibration

    def fit(self, cases: Sequence[CaseFeatures], index: CaseIndex) -> "CauseModel":
        """Learn the profiles of ``cases``, which ``index`` holds.

        Sets ``causes_`` (names), ``weight_`` and ``prior_`` by cause, ``counts_``, ``outcomes_``,
        ``texts_`` and ``told_``, the sample that its words are read from.
        """
        return self.fit_told(texts_of(cases), index)

    def fit_told(self, cases: Iterable[CauseText], index: CaseIndex) -> "CauseModel":
        """Learn the profiles of the cases of ``index`` out of their texts, see ``fit``."""
        stored = dict.fromkeys(cause for cause in index.causes_ if cause is not None)
        self._take_up(index, tuple(dict.fromkeys([*self.words.causes, *stored])), kept={})
        read, self.told_ = told_sample(self.rows_.cause_of)
        spaces = fit_texts(compress(cases, read.tolist()), self.causes_, self.words)
        self.texts_ = CauseTexts(term_arrays(spaces))
        return self

    def as_arrays(self) -> Arrays:
        """Return what ``restore`` wants besides the index."""
        arrays: Arrays = {}
        pack_column(arrays, _CAUSES, self.causes_)
        arrays |= named_for(_TEXTS, self.texts_.terms.arrays)
        arrays |= named_for(_ROWS, self.rows_.as_arrays())
        arrays |= named_for(_LINKED, self.linked.as_arrays())
        return arrays | named_for(_COUNTS, self.counts_.as_arrays())

    def restore(self, index: CaseIndex, arrays: Mapping[str, NDArray[Any]]) -> "CauseModel":
        """Take up profiles that were fitted before."""
        self._take_up(index, tuple(column(arrays, _CAUSES)), kept=arrays)
        self.texts_ = CauseTexts(part_of(arrays, _TEXTS))
        return self

    def _take_up(
        self, index: CaseIndex, causes: tuple[str, ...], *, kept: Mapping[str, NDArray[Any]]
    ) -> None:
        self.index = index
        self._tables: dict[str, tuple[tuple[str, ...], Floats, Floats]] = {}
        self._profiles: dict[str, ReadingProfile | None] = {}
        # What each token says of every cause, which follows from the fitted cases alone.
        self._told = Remembered[tuple[str, str, str], Floats | None](_MOST_REMEMBERED)
        self._read = Remembered[tuple[str, float, str], Floats | None](_MOST_REMEMBERED)
        self._linked: LinkedFindings | None = None
        self._kept_trees = part_of(kept, _LINKED)
        self.causes_ = causes
        at = self._at = {name: i for i, name in enumerate(self.causes_)}
        rows = part_of(kept, _ROWS)
        self.rows_ = CauseRows.restored(index, at, rows) if rows else CauseRows.of(index, at)
        self.counts_ = CauseCounts(index, self.rows_, part_of(kept, _COUNTS))
        self.weight_ = self.counts_.summed
        self.prior_: Floats = cause_prior(self.weight_, self.rows_.sizes)
        self._complained: defaultdict[str, list[int]] = defaultdict(list)
        for name, row in self.words.causes.items():
            for concept in row.complaints:
                self._complained[concept].append(at[name])
        self.outcomes_ = OutcomeTables(self.words, at, counts=self.counts_, prior=self.prior_)

    def following(self, index: LayeredIndex) -> "CauseModel":
        """Return the model with the cases of ``index``; what was counted stays as it was.

        Cases there of causes that were not known when the model was fitted do not count.
        """
        # What is learned when it is first asked for is learned once for all that follow.
        _ = self.linked
        made = copy(self)
        made.rows_ = self.rows_.following(index)
        return made

    def number(self, cause: str) -> int:
        """Return where ``cause`` stands in ``causes_``."""
        return self._at[cause]

    @property
    def linked(self) -> LinkedFindings:
        """Which recorded findings go together, learned when it is first asked for."""
        if self._linked is None:
            causes, kept = self.rows_.fitted, self._kept_trees
            self._linked = LinkedFindings(self.index, causes, len(self.causes_), kept=kept)
        return self._linked

    # --- likelihoods --------------------------------------------------------------------------

    def _symptom_shares(self, token: Token) -> Floats:
        """Return P(symptom seen | cause), shape ``(n_causes,)``; words of the shop's own as any."""
        concept = token.field.partition("|")[0]
        if concept not in self.words.symptoms:
            return self._token_shares(replace(token, value="yes"))
        prior = np.full(len(self.causes_), STRAY_SHARE)
        prior[self._complained.get(concept, [])] = COMPLAINT_SHARE
        seen = self.counts_.weights(token_key(token.field, "yes"))
        shares: Floats = (seen + PSEUDO_CASES * prior) / (self.weight_ + PSEUDO_CASES)
        return shares

    def _token_shares(self, token: Token) -> Floats:
        """Return P(token | cause) shrunk to the overall share, shape ``(n_causes,)``."""
        counted = self.counts_.weights(token.key)
        overall = (counted.sum() + 0.5) / (self.weight_.sum() + 1)
        shares: Floats = (counted + PSEUDO_CASES * overall) / (self.weight_ + PSEUDO_CASES)
        return shares

    def _relative(self, shares: Floats) -> Floats:
        overall = float(self.prior_ @ shares)
        relative: Floats = np.log(shares / overall)
        return relative

    def recorded(self, field: str) -> tuple[tuple[str, ...], Floats, Floats]:
        """Return the values of a field, P(value | cause, recorded) and the overall shares."""
        if field not in self._tables:
            values = self.index.values_of_.get(field, ())
            counts = np.zeros((len(self.causes_), len(values)))
            for number, value in enumerate(values):
                counts[:, number] = self.counts_.weights(token_key(field, value))
            tables = recorded_shares(counts) if values else (counts, counts)
            self._tables[field] = (values, *tables)
        return self._tables[field]

    def _recorded_evidence(self, token: Token) -> Floats | None:
        values, shares, overall = self.recorded(token.field)
        if token.value not in values:
            return None
        at = values.index(token.value)
        return np.asarray(np.log(shares[:, at] / overall[at]), np.float64)

    def _finding_evidence(self, token: Token) -> Floats | None:
        check, _, subject = token.field.partition("|")
        if check not in self.words.checks:
            return self._recorded_evidence(token)
        if token.value not in self.words.checks[check].outcomes:
            return None
        outcomes, shares = self.outcomes_.shares(check, subject)
        return self._relative(shares[:, outcomes.index(token.value)])

    def _tried_evidence(self, token: Token) -> Floats:
        """Return what a part that did not cure says: it weakens the causes in that part."""
        part = token.field.partition("|")[2]
        total = np.zeros(len(self.causes_))
        for name, row in self.words.causes.items():
            if part and names_part(self.words, part, row.part):
                total[self._at[name]] = np.log(NOT_CURED_SHARE)
        return total

    def _symptom_evidence(self, token: Token) -> Floats:
        shares = self._symptom_shares(token)
        return self._relative(1 - shares if token.value == "no" else shares)

    def _plain_evidence(self, token: Token) -> Floats | None:
        if token.key not in self.index.tokens_.keys:
            return None
        return PART_WEIGHT.get(token.part, 1.0) * self._relative(self._token_shares(token))

    def token_evidence(self, token: Token) -> Floats | None:
        """Return what a token says of every cause, in nats; None where nothing is known of it."""
        key = token.part, token.field, token.value
        found = self._told.get(key)
        if found is None:
            found = self._told.keep(key, self._evidence_of(token))
        return found

    def _evidence_of(self, token: Token) -> Floats | None:
        by_part = {
            "tried": self._tried_evidence,
            "observed": self._recorded_evidence,
            "finding": self._finding_evidence,
            "symptom": self._symptom_evidence,
        }
        return by_part.get(token.part, self._plain_evidence)(token)

    def measure_evidence(self, measure: Measure, group: str) -> Floats | None:
        """Return what a reading says of every cause, in nats; None where too few cases have it."""
        key = measure.key, measure.value, group
        found = self._read.get(key)
        if found is None:
            profile = self._profile(measure.key)
            known = None if profile is None else profile.ratio(self.index.score(measure, group))
            found = self._read.keep(key, known)
        return found

    def _profile(self, key: str) -> ReadingProfile | None:
        if key not in self._profiles:
            rows = self.index.measures_.of(key)
            self._profiles[key] = profile_of_known(
                self.index.scale(key).scores,
                self.rows_.fitted[rows].astype(np.int64),
                weights=self.index.weights_[rows],
                size=len(self.causes_),
            )
        return self._profiles[key]

    def entries(self, query: CaseFeatures) -> tuple[Entry, ...]:
        """Return what each thing known of a job says of every cause; they add up."""
        found: list[tuple[str, Token | Measure | None, Floats | None]] = [
            (part_name(row), row, self.token_evidence(row)) for row in query.tokens
        ]
        found += [
            (f"reading {m.key}", m, self.measure_evidence(m, query.group)) for m in query.measures
        ]
        found.append((TOGETHER, None, self.linked.together(query.tokens)))
        known = (Entry(name, item, nats) for name, item, nats in found if nats is not None)
        return (*self._words(query), *known)

    def _words(self, query: CaseFeatures) -> Iterator[Entry]:
        """Yield what the words of a job say, and first what was learned of such words."""
        asked = self.texts_.ask(query)
        words = self.texts_.evidence(asked, self.prior_)
        learned = learned_evidence(self.index, query, self._at)
        if learned is not None:
            yield Entry(LEARNED, None, learned)
        yield Entry("text", asked, words if learned is None else BESIDE_LEARNED * words)

    def parts(self, query: CaseFeatures) -> dict[str, Floats]:
        """Return the parts of the evidence by name, each by cause, in nats; they add up."""
        return summed(self.entries(query))

    # --- the answer ---------------------------------------------------------------------------

    def weigh(self, asked: AnyAsked, entries: Iterable[Entry] | None = None) -> Evidence:
        """Return all that a job says of the causes, before any of it is weighted."""
        found = summed(self.entries(asked.query) if entries is None else entries)
        return Evidence(
            names=tuple(found),
            parts=np.stack(list(found.values())),
            prior=np.log(self.prior_),
            vote=log_vote(asked, self.rows_.cause_of, len(self.causes_)),
            odd=oddness(self.index, asked.query, len(found)),
        )

    def chances(self, asked: AnyAsked) -> tuple[CauseChance, ...]:
        """Return the causes by chance, largest first, "something else" among them; they sum to 1.

        See ``kb.diagnosis.chances`` for the formula.
        """
        return self.ranked(self.weigh(asked))

    def ranked(self, evidence: Evidence) -> tuple[CauseChance, ...]:
        """Return the causes by chance out of what ``weigh`` returned."""
        return ranked(evidence, self.calibration, causes=self.causes_, cases=self.rows_.cases)
