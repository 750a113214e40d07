import shutil

import pytest

from kb.case.terms import load_vocabulary
from kb.errors import VocabularyError
from kb.store.migrate import bundled
from kb.workflow.invented_plan import PLAN_FILE, Technician, read_plan

WORDS = load_vocabulary()


@pytest.fixture
def folder(tmp_path):
    shutil.copy(bundled("seed_cases") / PLAN_FILE, tmp_path)
    return tmp_path


def change(folder, old, new):
    file = folder / PLAN_FILE
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_model_with_two_engines_is_two_platforms_that_share_its_part(folder):
    plan = read_plan(folder, WORDS)
    terns = [row for row in plan.platforms if row.model == "Tern"]
    assert [row.engine for row in terns] == ["A16P", "A20P"]
    assert sum(row.share for row in terns) == 7
    assert plan.platform(plan.tables["rising"]).engine == plan.tables["rising"]["engine"]


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('cause = "coil_bad"', 'cause = "coil_sad"', "expected a cause, got 'coil_sad'"),
        ('symptom = "lights_flicker"', 'symptom = "x"', "expected a symptom, got 'x'"),
        ("catalyst = 980", "catalist = 980", "expected a part, got 'catalist'"),
        ("seen = 0.34", "smelt = 0.34", "expected a proof, got 'smelt'"),
        ("fixed = 0.91", "mended = 0.91", "expected a job end, got 'mended'"),
        ("cooling = {", "colling = {", "expected a season's key, got 'colling'"),
        ('desk = "Frieda"', "", "expected a sound file, got KeyError('desk')"),
        ("schema = 1", "schema =", "expected a sound file"),
    ],
)
def test_a_file_with_an_unknown_word_or_a_gap_is_refused(folder, old, new, what):
    change(folder, old, new)
    with pytest.raises(VocabularyError, match=r"two_years\.toml") as error:
        read_plan(folder, WORDS)
    assert what in str(error.value)


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(VocabularyError, match="expected a sound file"):
        read_plan(tmp_path, WORDS)


def test_a_technician_works_from_a_week_to_a_week():
    always = Technician(name="A", share=1, records=1)
    new = Technician(name="B", share=1, records=1, since=6)
    gone = Technician(name="C", share=1, records=1, until=6)
    there = [[row.works(back) for row in (always, new, gone)] for back in (6, 5)]
    assert there == [[True, False, True], [True, True, False]]
