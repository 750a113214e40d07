import json

import pytest

from kb.errors import ImportTableError
from kb.workflow.phrases import fit_phrases, measure_phrases, read_phrases, stored_phrases

THINGS = ("pump", "hose", "seal", "valve", "motor", "belt")
SAYING = {
    "Leaking": ("leaks oil", "drips water", "seeps fuel"),
    "Noise": ("squeals loud", "grinds hard", "rattles"),
    "Overheating": ("runs hot", "smokes", "burnt smell"),
}


def rows(times=1):
    return [
        {"text": f"{thing} {saying} bay {number}", "label": label}
        for number in range(times)
        for thing in THINGS
        for label, sayings in SAYING.items()
        for saying in sayings
    ]


def file_of(folder, lines):
    path = folder / "phrases.jsonl"
    path.write_text("".join(json.dumps(line) + "\n" for line in lines))
    return path


def test_lines_of_the_part_train_are_stored_and_the_others_asked(tmp_path):
    lines = [{**row, "part": "train" if at % 6 else "dev"} for at, row in enumerate(rows())]
    got = measure_phrases(file_of(tmp_path, lines))
    assert (got["stored"], got["queries"]) == (45, 9)
    assert got["hit@1"] == 1.0


@pytest.mark.parametrize("part", [{}, {"part": "train"}])
def test_without_others_every_line_is_asked_once_in_ten_folds(tmp_path, part):
    got = measure_phrases(file_of(tmp_path, [{**row, **part} for row in rows()]))
    assert (got["stored"], got["queries"]) == (48, 54)


def test_folds_that_are_asked_for_take_every_line_whatever_its_part(tmp_path):
    lines = [{**row, "part": "train" if at % 6 else "dev"} for at, row in enumerate(rows())]
    got = measure_phrases(file_of(tmp_path, lines), folds=3)
    assert (got["stored"], got["queries"]) == (36, 54)
    assert got["hit@1"] == 1.0


def test_a_phrase_asked_is_not_among_those_that_answer_it(tmp_path):
    lines = [{"text": f"word{at}", "label": f"class{at}"} for at in range(4)]
    got = measure_phrases(file_of(tmp_path, lines))
    assert (got["stored"], got["hit@5"]) == (3, 0.0)


def test_the_order_of_the_lines_changes_nothing(tmp_path):
    there = measure_phrases(file_of(tmp_path, rows()), folds=2)
    assert measure_phrases(file_of(tmp_path, rows()[::-1]), folds=2) == there


def test_the_cause_of_a_stored_phrase_is_its_class_and_a_closed_field(tmp_path):
    stored = stored_phrases(read_phrases(file_of(tmp_path, rows())))
    assert all(case.labels == (("cause", case.cause),) for case in stored)
    assert len({case.case for case in stored}) == len(stored) == 54


def test_enough_phrases_are_learned_from_and_fewer_are_not(tmp_path):
    phrases = read_phrases(file_of(tmp_path, rows(6)))
    fitted = fit_phrases(phrases)
    assert fitted.index.stored_fields is not None
    assert fit_phrases(phrases[:60]).index.stored_fields is None


@pytest.mark.parametrize(
    "lines", [[{"text": "a", "label": "b"}, {"text": "a"}], [{"label": "b", "text": " "}] * 2]
)
def test_a_line_without_text_or_label_is_named(tmp_path, lines):
    with pytest.raises(ImportTableError, match=r"phrases\.jsonl, row \d: expected text and label"):
        read_phrases(file_of(tmp_path, lines))


def test_one_phrase_cannot_be_asked_of_others(tmp_path):
    with pytest.raises(ImportTableError, match="at least 2 phrases, got 1"):
        read_phrases(file_of(tmp_path, [{"text": "a", "label": "b"}]))
