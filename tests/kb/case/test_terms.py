import shutil
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from kb.case import terms
from kb.case.grammar import reader
from kb.case.terms import load_vocabulary, read_vocabulary
from kb.errors import UnknownTermError, VocabularyError

FOLDER = Path(terms.__file__).resolve().parent.parent / "vocabulary"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy = tmp_path / "vocabulary"
    shutil.copytree(FOLDER, copy)
    return copy


def change(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_the_vocabulary_loads_with_every_kind_of_row():
    words = load_vocabulary()

    assert len(words.systems) == 13
    assert len(words.checks) == 147
    assert len(words.causes) == 213
    assert len(words.phrases) == 143
    assert len(words.conditions) == 49
    assert len(words.groups) == 108
    assert len(words.quantities) == 129


def test_the_vocabulary_is_read_once():
    assert load_vocabulary() is load_vocabulary()


def test_names_fall_back_to_the_key_in_words():
    words = load_vocabulary()

    assert words.cause_name("shop_made_cause") == "shop made cause"
    assert words.cause_name(None) == "something else"
    assert words.check_name("shop_made_check") == "shop made check"


@pytest.mark.parametrize("kind", ["check", "cause", "quantity"])
def test_an_unknown_key_is_named_with_what_was_expected(kind: str):
    with pytest.raises(UnknownTermError, match=f"expected a {kind}.*got 'no_such_key'"):
        getattr(load_vocabulary(), kind)("no_such_key")


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        pytest.param(
            "causes.toml",
            'complaints = ["ac_not_cold", "ac_works_on_and_off"]',
            'complaints = ["ac_not_cool"]',
            r"causes\.toml, low_charge_leak_condenser: expected a symptom, got ac_not_cool",
            id="a complaint of a cause",
        ),
        pytest.param(
            "causes.toml",
            'system = "hvac"',
            'system = "hvax"',
            r"causes\.toml, low_charge_leak_condenser: expected a system, got hvax",
            id="the system of a cause",
        ),
        pytest.param(
            "causes.toml",
            'prove = ["recover_and_weigh"',
            'prove = ["recover_and_wait"',
            r"causes\.toml, low_charge_leak_condenser: expected a check, got recover_and_wait",
            id="a proving check of a cause",
        ),
        pytest.param(
            "causes.toml",
            'like = ["low_charge_leak_hose"',
            'like = ["low_charge_leak_nose"',
            r"causes\.toml, low_charge_leak_condenser: expected a cause, got low_charge_leak_nose",
            id="a cause like another",
        ),
        pytest.param(
            "causes.toml",
            'cautions = ["refrigerant_licence"',
            'cautions = ["refrigerant_licens"',
            r"causes\.toml, low_charge_leak_condenser: expected a caution, got refrigerant_licens",
            id="a caution of a cause",
        ),
        pytest.param(
            "causes.toml",
            'expect = { recover_and_weigh = "under"',
            'expect = { recover_and_weigh = "below"',
            r"low_charge_leak_condenser\.expect\.recover_and_weigh: expected an outcome, got below",
            id="an expected outcome of a cause",
        ),
        pytest.param(
            "cautions.toml",
            'level = "stop"',
            'level = "halt"',
            r"cautions\.toml, refrigerant_licence: expected a level, got halt",
            id="the level of a caution",
        ),
        pytest.param(
            "cautions.toml",
            'checks = ["ac_performance"',
            'checks = ["ac_perform"',
            r"cautions\.toml, refrigerant_licence: expected a check, got ac_perform",
            id="a check of a caution",
        ),
        pytest.param(
            "quantities.toml",
            'accepted = ["degF", "degC"]\nhard = [-51.11',
            'accepted = ["degF", "degX"]\nhard = [-51.11',
            r"quantities\.toml, ambient_temp: expected known units, got degX",
            id="a unit of a quantity",
        ),
        pytest.param(
            "quantities.toml",
            "typical = [18.33, 37.78]",
            "typical = [18.33, 377.8]",
            r"quantities\.toml, ambient_temp: expected the usual band inside",
            id="the usual band of a quantity",
        ),
        pytest.param(
            "synonyms.toml",
            'opposite = ["engine_hot"]',
            'opposite = ["engine_hop"]',
            r"synonyms\.toml, engine_cold: expected a condition, got engine_hop",
            id="the opposite of a condition",
        ),
        pytest.param(
            "synonyms.toml",
            'key = "ac_not_cold"\nsystem = "hvac"',
            'key = "ac_not_cold"\nsystem = "hva"',
            r"synonyms\.toml, ac_not_cold: expected a system, got hva",
            id="the system of a symptom",
        ),
        pytest.param(
            "synonyms.toml",
            'symptom = "hvac_clicking"',
            'symptom = "hvac_clinking"',
            r"synonyms\.toml, clicking behind .*: expected a symptom, got hvac_clinking",
            id="the symptom of a phrase",
        ),
        pytest.param(
            "synonyms.toml",
            'conditions = ["in_traffic"]',
            'conditions = ["in_trafic"]',
            r"synonyms\.toml, cold going .*: expected a condition, got in_trafic",
            id="a condition of a phrase",
        ),
        pytest.param(
            "checks.toml",
            'reads = ["static_pressure"]',
            'reads = ["static_presure"]',
            r"checks\.toml, ac_static_pressure: expected a quantity, got static_presure",
            id="the reading of a check",
        ),
        pytest.param(
            "checks.toml",
            "schema = 1",
            "schema = = 1",
            r"checks\.toml: expected TOML, got",
            id="a file that is not TOML",
        ),
        pytest.param(
            "derived.toml",
            'unit = "kPa"\n',
            "",
            r"vocabulary: a row misses a key or has one too many: .*unit",
            id="a row without a key",
        ),
        pytest.param(
            "cautions.toml",
            "footer =",
            "foot =",
            r"vocabulary: expected the key 'footer', got none",
            id="a file without a key",
        ),
    ],
)
def test_a_broken_cross_reference_names_file_key_and_expectation(
    folder: Path, name: str, old: str, new: str, said: str
):
    change(folder, name, old, new)

    with pytest.raises(VocabularyError, match=said):
        read_vocabulary(folder)


@pytest.mark.parametrize(
    ("field", "what"),
    [("systems", "a system"), ("kind", "a kind"), ("access", "an access")],
)
def test_a_check_with_an_unknown_word_is_named(folder: Path, field: str, what: str):
    path = folder / "checks.toml"
    head, mark, rest = path.read_text(encoding="utf-8").partition("[[check]]")
    lines = rest.split("\n")
    at = next(n for n, line in enumerate(lines) if line.startswith(f"{field} = "))
    lines[at] = f'{field} = ["nowhere"]' if field == "systems" else f'{field} = "nowhere"'
    path.write_text(head + mark + "\n".join(lines), encoding="utf-8")

    with pytest.raises(VocabularyError, match=rf"checks\.toml, \w+: expected {what}, got nowhere"):
        read_vocabulary(folder)


def test_a_check_with_an_unknown_caution_is_named(folder: Path):
    path = folder / "checks.toml"
    head, mark, rest = path.read_text(encoding="utf-8").partition("\ncautions = [")
    path.write_text(f'{head}{mark}"no_such_caution", {rest}', encoding="utf-8")

    with pytest.raises(
        VocabularyError, match=r"checks\.toml, \w+: expected a caution, got no_such_caution"
    ):
        read_vocabulary(folder)


def test_a_missing_file_is_named(folder: Path):
    (folder / "derived.toml").unlink()

    with pytest.raises(VocabularyError, match=r"derived\.toml: expected the file, got none"):
        read_vocabulary(folder)


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        pytest.param(
            "wording.toml",
            "\n[condition]\n",
            '\n[condition]\nengine_tepid = "x y"\n',
            r"wording\.toml, condition\.engine_tepid: expected a condition, got engine_tepid",
            id="a condition of the wording",
        ),
        pytest.param(
            "wording.toml",
            'rich = "mixture"',
            'rich = "no_such_part"',
            r"wording\.toml, subject_of\.rich: expected a state and a noun, got no_such_part",
            id="the part that a state is said of",
        ),
        pytest.param(
            "recognise.toml",
            "[symptom.ac_not_cold]",
            "[symptom.ac_not_cool]",
            r"recognise\.toml, symptom\.ac_not_cool: expected a symptom of synonyms\.toml",
            id="the symptom of a rule",
        ),
        pytest.param(
            "recognise.toml",
            "ac blow warm\n",
            "ac blow no_such_class\n",
            r"recognise\.toml, ac_not_cold: expected a class .*, got no_such_class",
            id="a class in a rule",
        ),
        pytest.param(
            "recognise.toml",
            "warm =ac_on\n",
            "warm =no_such_key\n",
            r"recognise\.toml, ac_not_cold: expected a class .* or a condition, got no_such_key",
            id="a condition in a rule",
        ),
        pytest.param(
            "recognise.toml",
            'implies = "ac_on"',
            'implies = "ac_off_and_on"',
            r"recognise\.toml, symptom\.ac_not_cold: expected a condition, got ac_off_and_on",
            id="an implied condition",
        ),
        pytest.param(
            "recognise.toml",
            "ac $notcold",
            "ac $nocold",
            r"recognise\.toml, \$nocold: expected a set, got none",
            id="a set in a rule",
        ),
        pytest.param(
            "recognise.toml",
            "[set]",
            "[set",
            r"recognise\.toml: expected TOML, got",
            id="a rule file that is not TOML",
        ),
    ],
)
def test_a_broken_reading_rule_names_file_key_and_expectation(
    folder: Path, name: str, old: str, new: str, said: str
):
    change(folder, name, old, new)

    with pytest.raises(VocabularyError, match=said):
        reader.build_tools(load_vocabulary(), folder)


def test_every_symptom_has_rules():
    rows = reader.read_rows(FOLDER, "recognise.toml")["symptom"]

    assert set(rows) == set(load_vocabulary().symptoms)
    assert all(row["say"].strip() for row in rows.values())


@pytest.mark.slow
def test_vocabulary_and_lexicon_cost_no_more_than_a_few_plain_readings_of_their_files():
    def plain() -> None:
        for path in FOLDER.glob("*.toml"):
            tomllib.loads(path.read_text("utf-8"))

    def best(run: Callable[[], object]) -> float:
        took = []
        for _ in range(3):
            before = time.process_time()
            run()
            took.append(time.process_time() - before)
        return min(took)

    words = read_vocabulary(FOLDER)
    peer = best(plain)

    # Measured .4 and .7 of it; several times that is a mistake in the code.
    assert best(lambda: read_vocabulary(FOLDER)) < 2 * peer
    assert best(lambda: reader.build_tools(words)) < 2 * peer


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('system = "hvac"', 'system = "attic"', "attic: expected a system, got attic"),
        ('"vent_temp"', '"vent_heat"', "hvac: expected a quantity, got vent_heat"),
        ('"at_idle"', '"at_ease"', "hvac: expected a condition or a speed .*got at_ease"),
        ('"1500 rpm"', '"fast rpm"', "hvac: expected a condition or a speed .*got fast rpm"),
        ('"ambient_humidity"', '"ambient_temp"', "hvac: expected each quantity once"),
    ],
)
def test_a_baseline_set_that_names_what_is_not_there_is_refused(
    folder: Path, old: str, new: str, said: str
):
    change(folder, "baseline.toml", old, new)
    with pytest.raises(VocabularyError, match=rf"baseline\.toml, {said}"):
        read_vocabulary(folder)


def test_every_system_with_usual_readings_has_a_baseline_set():
    words = load_vocabulary()
    assert set(words.systems) - set(words.baselines) == {"restraints"}
    assert all(row.always and row.conditions for row in words.baselines.values())
