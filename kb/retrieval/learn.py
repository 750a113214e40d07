"""What the shop's closed cases teach: which closed fields the words of an open job point to.

One light classifier a field: a ridge regression on the leading axes of the texts, whose outputs
are turned into chances on predictions that leave each case out. Fitting needs scikit-learn and is
done on rebuild; asking needs the stored arrays only (``kb.retrieval.learned``).
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
# Cases on which chances are fitted; more change the third digit only.
_SAMPLE: Final = 500
_CLIP: Final = 1e-6


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
    """Rows on the axes of the text space: whole texts, and the same texts half told."""

    whole: Floats
    half: Floats


def half_told(text: str) -> str:
    """Return every second word of a text: what a job says while it is half written up.

    Examples
    --------
    >>> half_told("noise front left over bumps")
    'noise left bumps'
    """
    return " ".join(text.split()[::2])


def fit_learned(cases: Sequence[Labelled]) -> Learned | None:
    """Return the classifiers of all closed fields of ``cases``, None where there is nothing.

    The order of cases changes nothing: they are taken by id.
    """
    ordered = sorted(cases, key=lambda case: case.case)
    texts = [case.said for case in ordered]
    spelling = fit_spelling([case.said for case in ordered])
    if not any(case.labels for case in ordered):
        return Learned(spaces={}, spelling=spelling) if spelling else None
    spaces = {"word": _vocabulary(texts, word_terms), "char": _vocabulary(texts, char_terms)}
    model = Learned(spaces=spaces, spelling=spelling)
    if min(len(ordered), model.n_terms) < 2 * LEAST_CASES:
        return None
    whole = model.matrix(texts)
    model = replace(model, axes=_axes(whole))
    half = model.matrix([half_told(text) for text in texts])
    design = _Design(whole @ model.axes, half @ model.axes)
    values: defaultdict[str, list[tuple[str, ...]]] = defaultdict(lambda: [()] * len(ordered))
    for row, case in enumerate(ordered):
        for field, value in dict.fromkeys(case.labels):
            values[field][row] += (value,)
    fitted = (_fit_field(field, values[field], design) for field in sorted(values))
    return replace(model, fields=tuple(field for field in fitted if field is not None))


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

    size = max(1, min(AXES, rows.shape[0] // 2, rows.shape[1] - 1))
    _, _, vectors = randomized_svd(rows.astype(np.float32), size, n_iter=2, random_state=0)
    return np.ascontiguousarray(vectors.T, np.float32)


# --- one field -----------------------------------------------------------------------------------


def _fit_field(field: str, values: Sequence[tuple[str, ...]], design: _Design) -> FieldModel | None:
    counts = Counter(value for row in values for value in row)
    common = sorted((-n, value) for value, n in counts.items() if n >= LEAST_CASES)
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
    rows = _turned(design.whole[known], design.half[known])
    for penalty in PENALTIES:
        slopes, left_out = _ridge(rows, truth, penalty)
        shape, skill = _chances(left_out, truth, (prior, single))
        if best is None or skill > best.skill:
            best = FieldModel(
                field=field, values=names, single=single, prior=prior, skill=skill,
                shape=shape, slopes=slopes, mean=truth.mean(axis=0),
            )  # fmt: skip
    return best if best is not None and best.skill > 0 else None


@dataclass(frozen=True, slots=True)
class _Turned:
    """Whole and half rows turned so that their summed products are diagonal, ``strength``."""

    whole: Floats
    half: Floats
    strength: Floats
    turn: Floats


def _turned(whole: Floats, half: Floats) -> _Turned:
    strength, turn = np.linalg.eigh(whole.T @ whole + half.T @ half)
    return _Turned(whole @ turn, half @ turn, strength, turn)


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
    inner = divided[:, None] * ((rows.whole + rows.half).T @ rest)
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
