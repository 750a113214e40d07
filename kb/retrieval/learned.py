"""Ask the classifiers that ``kb.retrieval.learn`` fitted; plain arrays, no scikit-learn."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.postings import Postings, Rows
from kb.retrieval.spelling import SPELLING_WEIGHT, SpelledRows, Spelling
from kb.retrieval.vectors import TextSpace

Floats = NDArray[np.float64]

# Share of a stored field that is wrong or beside the point whatever the words say (our choice).
STRAY: Final = 1e-3
# Nats for a nat of a perfectly predicted field, beside a text cosine at ``TEXT_WEIGHT``, and how
# fast it falls with the share of the field that words explain; both fitted on work orders.
LEARNED_WEIGHT: Final = 80.0
SKILL_POWER: Final = 1.5
# How much a word or a character n-gram counts on the axes (our choice).
# Square of the distance within which texts of a small shop are alike (our choice: .5 and 1 gave
# top-1 .732 and .734, top-3 .850 and .851 on 564 public failure phrases, three times ten folds).
WIDTH: Final = 1.0
SPACE_WEIGHT: Final = {"word": 0.5, "char": 1.0}
_CLIP: Final = 1e-5
SEPARATOR: Final = "\t"


def label_key(name: str, value: str) -> str:
    """Return a closed field and its value as one key of the postings."""
    return f"{name}{SEPARATOR}{value}"


def link(rows: Floats, prior: Floats, shape: Sequence[float]) -> Floats:
    """Return log odds (or logits) of raw predictions: linear in x, ln x and the prior log odds."""
    low = np.log(np.clip(rows, 1e-3, 1.0))
    made: Floats = (
        shape[0] * rows + shape[1] * low + shape[2] * np.log(prior / (1 - prior)) + shape[3]
    )
    return made


def softmax(logits: Floats) -> Floats:
    """Return chances along the last axis."""
    raised = np.exp(logits - logits.max(axis=-1, keepdims=True))
    chances: Floats = raised / raised.sum(axis=-1, keepdims=True)
    return chances


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldModel:
    """The classifier of one closed field.

    ``slopes`` has shape ``(n_axes or n_marks, n_values)``, ``mean`` and ``prior`` ``(n_values,)``; ``shape``
    turns raw predictions into chances; ``skill`` is the share of the field's entropy explained.
    ``single`` says that a case has one value at most.
    """

    field: str
    values: tuple[str, ...]
    single: bool
    prior: Floats
    mean: Floats
    slopes: Floats
    shape: tuple[float, ...]
    skill: float

    def log_chances(self, point: Floats) -> Floats:
        """Return ln P(value) for a single field, else the log odds that each value is there."""
        logits = link(self.mean + point @ self.slopes, self.prior, self.shape)
        if self.single:
            return np.log(np.maximum(softmax(logits), _CLIP))
        chances = np.clip(1 / (1 + np.exp(-logits)), _CLIP, 1 - _CLIP)
        odds: Floats = np.log(chances) - np.log1p(-chances)
        return odds


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """All classifiers with the text space that they stand on.

    ``parts`` holds the weights of the other parts of the evidence, fitted beside ``weight``.
    Where cases are few, ``marks`` holds the places on the axes of their texts and of the names of
    values, shape ``(n_marks, n_axes)``; a text is then told by how near it is to each of them.
    """

    spaces: Mapping[str, TextSpace]
    axes: NDArray[np.float32] = field(default_factory=lambda: np.zeros((0, 0), np.float32))
    marks: NDArray[np.float32] = field(default_factory=lambda: np.zeros((0, 0), np.float32))
    fields: tuple[FieldModel, ...] = ()
    spelling: Spelling | None = None
    weight: float = LEARNED_WEIGHT
    parts: Mapping[str, float] = field(default_factory=dict)

    @property
    def n_terms(self) -> int:
        """Number of known words and character n-grams."""
        return sum(len(space.terms_) for space in self.spaces.values())

    def matrix(self, texts: Sequence[str]) -> sparse.csr_array:
        """Return the weights of the known terms of ``texts``, shape ``(n_texts, n_terms)``."""
        ids: list[NDArray[np.int64]] = []
        weights: list[Floats] = []
        pointers = [0]
        for text in texts:
            shift = 0
            for name, space in self.spaces.items():
                found = space.query(text)
                ids.append(found.ids + shift)
                weights.append(SPACE_WEIGHT[name] * found.weights)
                shift += len(space.terms_)
            pointers.append(pointers[-1] + sum(map(len, ids[-len(self.spaces) :])))
        flat = np.concatenate([*ids, np.zeros(0, np.int64)]).astype(np.int32)
        parts = (np.concatenate([*weights, np.zeros(0)]), flat, np.array(pointers, np.int32))
        return sparse.csr_array(parts, shape=(len(texts), self.n_terms))

    def point(self, text: str) -> Floats | None:
        """Return where a text lies, on the axes or beside the marks; None for no known term."""
        row = self.matrix([text]) if self.fields else None
        if row is None or row.nnz == 0:
            return None
        flat = row.data @ self.axes[row.indices].astype(np.float64)
        point: Floats = self._beside(flat[None])[0]
        return point

    def points(self, rows: sparse.csr_array) -> Floats:
        """Return where the rows of ``matrix`` lie, shape ``(n_texts, n_axes or n_marks)``."""
        return self._beside(np.asarray(rows @ self.axes, np.float64))

    def _beside(self, flat: Floats) -> Floats:
        """Return how near places are to the marks: ``exp(-|x - m|^2 / (2 WIDTH))``."""
        if not len(self.marks):
            return flat
        marks = self.marks.astype(np.float64)
        apart = (flat**2).sum(axis=1)[:, None] + (marks**2).sum(axis=1) - 2 * flat @ marks.T
        near: Floats = np.exp(-np.maximum(apart, 0.0) / (2 * WIDTH))
        return near


class Usual(NamedTuple):
    """The average case by one field: the sets of values that cases have, and their shares."""

    sets: sparse.csr_array
    share: Floats


@dataclass(frozen=True, slots=True)
class _Stored:
    """The cases by the set of values that they have: few sets, many cases."""

    rows: Rows
    set_of: Rows
    sets: sparse.csr_array
    share: Floats
    names: tuple[str, ...]


class StoredFields:
    """The closed fields of all cases, held against what the words of a query point to.

    Parameters
    ----------
    learned : Learned
        The classifiers.
    labels, words : Postings
        The cases by value of their closed fields, and by word.
    usual : mapping, optional
        The average case by field, where it is not one of these.
    """

    def __init__(
        self,
        learned: Learned,
        labels: Postings,
        words: Postings,
        *,
        usual: Mapping[str, Usual] | None = None,
    ) -> None:
        self.learned = learned
        self.spelled = SpelledRows(learned.spelling, words) if learned.spelling else None
        self.stored = {model.field: _stored(model, labels) for model in learned.fields}
        self.usual = usual if usual is not None else _usual(self.stored)

    def evidence(self, text: str) -> Iterator[tuple[str, Rows, Floats]]:
        """Yield field, rows and nats: ``ln P(stored values | text)`` against the average case.

        A case without the field is in no row; a text without a known term says nothing.
        """
        point = self.learned.point(text)
        if point is None:
            return
        for model in self.learned.fields:
            stored, usual = self.stored[model.field], self.usual.get(model.field)
            if not len(stored.rows) or usual is None:
                continue
            chances = model.log_chances(point)
            average = usual.sets @ chances
            most = average.max()
            ratio = np.exp(stored.sets @ chances - most)
            ratio /= float(usual.share @ np.exp(average - most))
            scale = self.learned.weight * model.skill**SKILL_POWER
            nats = scale * np.log(STRAY + (1 - STRAY) * ratio)
            yield model.field, stored.rows, nats[stored.set_of]

    def spelling(self, text: str) -> tuple[Rows, Floats] | None:
        """Return rows and nats of cases whose words stand for those of ``text``."""
        found = self.spelled.cosine(text) if self.spelled else None
        if found is None:
            return None
        return found[0], self.learned.weight * SPELLING_WEIGHT * found[1]

    def says(self, what: str, row: int, *, nats: float) -> str:
        """Return the reason line of a learned field, or of the words of a query, for one case."""
        stored = self.stored.get(what)
        if stored is None:
            pairs = self.spelled.pairs(what, row) if self.spelled else ""
            return f"stands for the same: {pairs}" if pairs else "the same words"
        values = stored.names[int(stored.set_of[np.searchsorted(stored.rows, row)])]
        return f"the words point {'to' if nats > 0 else 'away from'} {what} {values}"


def _usual(stored: Mapping[str, _Stored]) -> dict[str, Usual]:
    return {name: Usual(row.sets, row.share) for name, row in stored.items() if len(row.rows)}


def _stored(model: FieldModel, labels: Postings) -> _Stored:
    members: dict[int, list[int]] = {}
    for at, value in enumerate(model.values):
        for row in labels.of(label_key(model.field, value)):
            members.setdefault(int(row), []).append(at)
    rows = np.array(sorted(members), np.int32)
    keys: dict[tuple[int, ...], int] = {}
    set_of = np.array([keys.setdefault(tuple(members[int(r)]), len(keys)) for r in rows], np.int64)
    pointers = np.cumsum([0, *(len(key) for key in keys)])
    ids = np.array([at for key in keys for at in key], np.int64)
    sets = sparse.csr_array(
        (np.ones(len(ids)), ids, pointers), shape=(len(keys), len(model.values))
    )
    share = np.bincount(set_of, minlength=len(keys)) / max(1, len(rows))
    names = tuple(", ".join(model.values[at] for at in key) for key in keys)
    return _Stored(rows, set_of, sets, share, names)
