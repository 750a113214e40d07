"""What was learned from the closed cases as one file of plain arrays; never a pickle."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.column_arrays import pack, unpack
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.learn import ANALYZERS
from kb.retrieval.learned import FieldModel, Learned
from kb.retrieval.snapshot import FORMAT, read_arrays, write_arrays
from kb.retrieval.spelling import Spelling
from kb.retrieval.vectors import TextSpace

_KIND = "learned"


def write_learned(path: Path, learned: Learned | None, *, key: str) -> None:
    """Keep the classifiers in a file that ``read_learned`` gives back to the last bit.

    ``key`` names the rebuild that made them. Where nothing was learned, an earlier file goes.
    """
    if learned is None:
        path.unlink(missing_ok=True)
        return
    head = {
        "weight": learned.weight,
        "parts": dict(learned.parts),
        "spelling": learned.spelling is not None, "spaces": list(learned.spaces),
        "fields": [_head(model) for model in learned.fields],
    }  # fmt: skip
    arrays: Arrays = {"axes": learned.axes, "marks": learned.marks}
    pack(arrays, "head", [json.dumps(head, sort_keys=True)])
    for name, space in learned.spaces.items():
        pack(arrays, f"{name} terms", list(space.terms_))
        arrays[f"{name} idf"] = space.idf_
    for number, model in enumerate(learned.fields):
        pack(arrays, f"{number} values", model.values)
        for part in ("prior", "mean", "slopes"):
            arrays[f"{number} {part}"] = getattr(model, part)
    if learned.spelling is not None:
        _pack_spelling(arrays, learned.spelling)
    write_arrays(path, arrays, key=f"{_KIND} {FORMAT} {key}")


def _pack_spelling(arrays: Arrays, spelling: Spelling) -> None:
    pack(arrays, "spelling words", list(spelling.words))
    arrays["spelling idf"] = spelling.idf
    for part in ("indptr", "indices", "data"):
        arrays[f"spelling {part}"] = getattr(spelling.alike, part)


def _unpack_spelling(arrays: Mapping[str, NDArray[Any]]) -> Spelling:
    words = {word: at for at, word in enumerate(unpack(arrays, "spelling words"))}
    parts = tuple(arrays[f"spelling {part}"] for part in ("data", "indices", "indptr"))
    alike = sparse.csr_array(parts, shape=(len(words), len(words)))
    return Spelling(words, alike, np.asarray(arrays["spelling idf"], np.float64))


def _head(model: FieldModel) -> dict[str, Any]:
    names = ("field", "single", "shape", "skill")
    return {name: getattr(model, name) for name in names}


def read_learned(path: Path, *, key: str) -> Learned | None:
    """Return what ``write_learned`` kept, None for a missing, broken, older or foreign file."""
    arrays = read_arrays(path, key=f"{_KIND} {FORMAT} {key}")
    if arrays is None:
        return None
    head = json.loads(unpack(arrays, "head")[0])
    models = (_model(arrays, number, row) for number, row in enumerate(head["fields"]))
    return Learned(
        spaces={name: _space(arrays, name) for name in head["spaces"]},
        axes=arrays["axes"],
        marks=arrays.get("marks", np.zeros((0, 0), np.float32)),
        fields=tuple(models),
        spelling=_unpack_spelling(arrays) if head["spelling"] else None,
        weight=head["weight"],
        parts=head["parts"],
    )


def _space(arrays: Mapping[str, NDArray[Any]], name: str) -> TextSpace:
    space = TextSpace(ANALYZERS[name])
    space.terms_ = {term: at for at, term in enumerate(unpack(arrays, f"{name} terms"))}
    space.idf_ = np.asarray(arrays[f"{name} idf"], np.float64)
    return space


def _model(arrays: Mapping[str, NDArray[Any]], number: int, head: Mapping[str, Any]) -> FieldModel:
    return FieldModel(
        field=head["field"],
        single=head["single"],
        shape=tuple(head["shape"]),
        skill=head["skill"],
        values=tuple(unpack(arrays, f"{number} values")),
        prior=arrays[f"{number} prior"],
        mean=arrays[f"{number} mean"],
        slopes=arrays[f"{number} slopes"],
    )
