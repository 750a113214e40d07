"""What the shop's closed cases teach: which closed fields the words of an open job point to.

One light classifier a field: a ridge regression on the leading axes of the texts, whose outputs
are turned into chances on predictions that leave each case out. Few texts are told by how near
each is to the others instead, and the name of a value is then one more text that says it. Fitting
needs scikit-learn and is done on rebuild; asking needs the stored arrays only
(``kb.retrieval.learned``).
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.analyzer import char_terms, word_terms
from kb.retrieval.learned import FieldModel, Learned, link, softmax
from kb.retrieval.spelling import fit_spelling
from kb.retrieval.vectors import Analyzer, TextSpace

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# All our choice, fitted by leaving cases out on the public work orders: axes of the text space,
# terms kept, cases that must have a value before it is predicted, and values kept a field.
AXES: Final = 500
MOST_TERMS: Final = 12_000
LEAST_CASES: Final = 3
MOST_VALUES: Final = 300
PENALTIES: Final = (0.5, 2.0, 8.0, 30.0)
# The same where few texts are held against each other, which needs less.
FEW_PENALTIES: Final = (0.1, 0.5, 2.0)
# Texts and names of values up to which each text is held against every other one (a bend that the
# axes alone cannot give; more would make the file and the fit large, our choice).
MOST_COMPARED: Final = 1000
# Words below which one of few texts is not half told: a phrase has nothing to leave out (our choice).
LEAST_HALVED: Final = 4
# Cases on which chances are fitted; more change the third digit only.
_SAMPLE: Final = 500
_CLIP: Final = 1e-6

# The texts that the classifiers stand on, by name.
ANALYZERS: Final = {"word": word_terms, "char": char_terms}


class Labelled(Protocol):
    """A closed case as the classifiers see it."""

    @property
    def case(self) -> str:
        """Id of the case."""

    @property
    def said(self) -> str:
        """What came in."""

    @property
    def labels(self) -> tuple[tuple[str, str], ...]:
        """Closed fields with their values; a field with several values comes several times."""


@dataclass(frozen=True, slots=True)
class _Design:
    """Rows of whole texts and of the same texts half told; ``basis`` leads from points to rows."""

    model: Learned
    whole: Floats
    half: Floats
    basis: Floats

    def named(self, names: Sequence[str]) -> Floats:
        """Return the rows of the names of values, texts that say the value, where texts are few.

        Many cases say by themselves how a value is told: on 3,761 work orders names cost .003 of
        nDCG@10.
        """
        if not len(self.model.marks):
            return np.zeros((0, self.whole.shape[1]))
        return self.model.points(self.model.matrix(names)) @ self.basis


def half_told(text: str, least: int = 0) -> str:
    """Return every second word of a text: what a job says while it is half written up.

    A phrase of fewer than ``least`` words is returned as it is.

    Examples
    --------
    >>> half_told("noise front left over bumps")
    'noise left bumps'
    """
    words = text.split()
    return " ".join(words[::2]) if len(words) >= least else text


def fit_learned(cases: Sequence[Labelled]) -> Learned | None:
    """Return the classifiers of all closed fields of ``cases``, None where there is nothing.

    The order of cases changes nothing: they are taken by id.
    """
    ordered = sorted(cases, key=lambda case: case.case)
    texts = [case.said for case in ordered]
    spelling = fit_spelling([case.said for case in ordered])
    if not any(case.labels for case in ordered):
        return Learned(spaces={}, spelling=spelling) if spelling else None
    said = [*texts, *sorted({value for case in ordered for _, value in case.labels})]
    few = len(said) <= MOST_COMPARED
    said = said if few else texts
    spaces = {name: _vocabulary(said, analyzer) for name, analyzer in ANALYZERS.items()}
    model = Learned(spaces=spaces, spelling=spelling)
    if min(len(ordered), model.n_terms) < 2 * LEAST_CASES:
        return None
    placed = model.matrix(said)
    model = replace(model, axes=_axes(placed))
    if few:
        model = replace(model, marks=np.asarray(placed @ model.axes, np.float32))
    half = model.matrix([half_told(text, LEAST_HALVED if few else 0) for text in texts])
    design = _design(model, placed, half)
    values: defaultdict[str, list[tuple[str, ...]]] = defaultdict(lambda: [()] * len(ordered))
    for row, case in enumerate(ordered):
        for field, value in dict.fromkeys(case.labels):
            values[field][row] += (value,)
    fitted = (_fit_field(field, values[field], design) for field in sorted(values))
    return replace(model, fields=tuple(field for field in fitted if field is not None))


def _design(model: Learned, placed: sparse.csr_array, half: sparse.csr_array) -> _Design:
    points, halves = model.points(placed), model.points(half)
    whole = points[: len(halves)]
    if not len(model.marks):
        return _Design(model, whole, halves, np.eye(points.shape[1]))
    # Columns in which the products of rows are the nearness itself: kernel ridge regression.
    strength, turn = np.linalg.eigh(points)
    kept = strength > _CLIP * strength.max()
    basis = turn[:, kept] / np.sqrt(strength[kept])
    return _Design(model, whole @ basis, halves @ basis, basis)


def _vocabulary(texts: Sequence[str], analyzer: Analyzer) -> TextSpace:
    """Return a space of the commonest terms that at least two texts have, without its rows."""
    counts: Counter[str] = Counter()
    for text in texts:
        counts.update(analyzer(text).keys())
    common = sorted((-n, term) for term, n in counts.items() if n > 1)[: MOST_TERMS // 2]
    space = TextSpace(analyzer)
    space.terms_ = {term: at for at, (_, term) in enumerate(common)}
    frequency = np.array([-n for n, _ in common], np.float64)
    space.idf_ = np.log((1 + len(texts)) / (1 + frequency)) + 1
    return space


def _axes(rows: sparse.csr_array) -> NDArray[np.float32]:
    """Return the leading right singular vectors, shape ``(n_terms, n_axes)``."""
    from sklearn.utils.extmath import randomized_svd  # noqa: PLC0415 - fitting only

    size = max(1, min(AXES, rows.shape[0] - 1, rows.shape[1] - 1))
    _, _, vectors = randomized_svd(rows.astype(np.float32), size, n_iter=2, random_state=0)
    return np.ascontiguousarray(vectors.T, np.float32)


# --- one field -----------------------------------------------------------------------------------


def _fit_field(field: str, values: Sequence[tuple[str, ...]], design: _Design) -> FieldModel | None:
    counts = Counter(value for row in values for value in row)
    # A value that came once can be told by its name where names are marks.
    least = 1 if len(design.model.marks) else LEAST_CASES
    common = sorted((-n, value) for value, n in counts.items() if n >= least)
    names = tuple(sorted(value for _, value in common[:MOST_VALUES]))
    if len(names) < 2:
        return None
    at = {name: i for i, name in enumerate(names)}
    known = np.flatnonzero([any(value in at for value in row) for row in values])
    truth = np.zeros((len(known), len(names)), bool)
    for number, row in enumerate(known.tolist()):
        truth[number, [at[value] for value in values[row] if value in at]] = True
    prior = (truth.sum(axis=0) + 0.5) / (len(known) + 1)
    single = all(len(row) <= 1 for row in values)
    best: FieldModel | None = None
    rows = _turned(design.whole[known], design.half[known], design.named(names))
    for penalty in FEW_PENALTIES if len(design.model.marks) else PENALTIES:
        slopes, left_out = _ridge(rows, truth, penalty)
        shape, skill = _chances(left_out, truth, (prior, single))
        if best is None or skill > best.skill:
            best = FieldModel(
                field=field, values=names, single=single, prior=prior, skill=skill,
                shape=shape, slopes=design.basis @ slopes, mean=truth.mean(axis=0),
            )  # fmt: skip
    return best if best is not None and best.skill > 0 else None


@dataclass(frozen=True, slots=True)
class _Turned:
    """Whole, half and named rows turned so that their summed products are diagonal."""

    whole: Floats
    half: Floats
    named: Floats
    strength: Floats
    turn: Floats


def _turned(whole: Floats, half: Floats, named: Floats) -> _Turned:
    strength, turn = np.linalg.eigh(whole.T @ whole + half.T @ half + named.T @ named)
    return _Turned(whole @ turn, half @ turn, named @ turn, strength, turn)


def _ridge(rows: _Turned, truth: Flags, penalty: float) -> tuple[Floats, Floats]:
    """Return slopes, and the predictions for whole and half texts with their own case left out.

    Both rows of a case are left out together: ``r_out = (I - H_b)^-1 r`` for the 2 x 2 block
    ``H_b`` of the hat matrix, which is exact for ridge regression.

    References
    ----------
    Cook (1977), Detection of influential observation in linear regression (from memory).
    """
    mean = truth.mean(axis=0)
    rest = truth - mean
    divided = 1 / (np.maximum(rows.strength, 0.0) + penalty)
    named = np.eye(len(mean))[: len(rows.named)] - mean
    inner = divided[:, None] * ((rows.whole + rows.half).T @ rest + rows.named.T @ named)
    a = 1 - (rows.whole**2 @ divided)[:, None]
    d = 1 - (rows.half**2 @ divided)[:, None]
    b = ((rows.whole * rows.half) @ divided)[:, None]
    miss, miss_half = rest - rows.whole @ inner, rest - rows.half @ inner
    divisor = np.maximum(a * d - b * b, _CLIP)
    out = rest - (d * miss + b * miss_half) / divisor
    out_half = rest - (a * miss_half + b * miss) / divisor
    return rows.turn @ inner, np.stack([out, out_half]) + mean


def _chances(
    left_out: Floats, truth: Flags, kind: tuple[Floats, bool]
) -> tuple[tuple[float, ...], float]:
    """Return the four numbers that make chances of predictions, and the skill on whole texts.

    Skill is the share of the field's entropy that the words explain, 0 for a useless classifier.
    """
    prior, single = kind
    step = max(1, len(truth) // _SAMPLE)
    rows, aim = left_out[:, ::step], truth[::step]
    if single:
        shape = _fit_softmax(np.concatenate(rows), np.concatenate([aim, aim]), prior)
        chance = softmax(link(rows[0], prior, shape))
        loss = -float(np.log(np.maximum(chance[aim], _CLIP)).mean())
        entropy = -float(prior @ np.log(prior))
        return shape, 1 - loss / entropy
    shape = _fit_logistic(np.concatenate(rows), np.concatenate([aim, aim]), prior)
    chance = np.clip(1 / (1 + np.exp(-link(rows[0], prior, shape))), _CLIP, 1 - _CLIP)
    loss = -float(np.where(aim, np.log(chance), np.log1p(-chance)).sum(axis=1).mean())
    entropy = -float((prior * np.log(prior) + (1 - prior) * np.log1p(-prior)).sum())
    return shape, 1 - loss / entropy


def _fit_softmax(rows: Floats, truth: Flags, prior: Floats) -> tuple[float, ...]:
    from scipy.optimize import minimize  # noqa: PLC0415 - fitting only

    def loss(shape: Floats) -> float:
        chance = softmax(link(rows, prior, (*shape, 0.0)))[truth]
        return -float(np.log(np.maximum(chance, _CLIP)).mean())

    found = minimize(loss, [4.0, 1.0, 0.1], method="Nelder-Mead", options={"maxiter": 80})
    return (*(float(x) for x in found.x), 0.0)


def _fit_logistic(rows: Floats, truth: Flags, prior: Floats) -> tuple[float, ...]:
    from sklearn.linear_model import LogisticRegression  # noqa: PLC0415 - fitting only

    parts = [link(rows, prior, shape).ravel() for shape in np.eye(4)[:3].tolist()]
    model = LogisticRegression(C=1e3, max_iter=500).fit(np.stack(parts, axis=1), truth.ravel())
    return (*(float(x) for x in model.coef_[0]), float(model.intercept_[0]))
