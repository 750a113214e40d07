import pytest

from kb.errors import TermError
from kb.workflow.word_forms import alike, key_of, numbers, plain_name, refuse_alike


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "got nothing"),
        ("  \n ", "got nothing"),
        ("x" * 61, "at most 60"),
        ("x" * 10_000, "at most 60"),
        ("12 34", "with letters"),
        ("★★", "with letters"),
        ("a\x00b", "with letters"),
        ("evil\u202etxt", "with letters"),
    ],
)
def test_a_name_that_cannot_be_one_is_refused_at_its_field(typed, said):
    with pytest.raises(TermError) as refused:
        plain_name(typed, "word")
    assert said in refused.value.by_field["word"]
    assert len(str(refused.value)) < 200


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Fan clutch, slips", "fan_clutch_slips"),
        ("<script>x</script>", "script_x_script"),
        ("'; DROP TABLE jobs; --", "drop_table_jobs"),
        ('a = "b"\n[[cause]]', "a_b_cause"),
        ("Lüfter", "lüfter"),
        ("日本", "日本"),
        ("a.*b|(c)", "a_b_c"),
    ],
)
def test_a_key_holds_letters_digits_and_low_lines_alone(name, key):
    assert key_of(name) == key


def test_names_are_held_against_those_that_are_there():
    known = {"fan": "Condenser fan or one speed dead", "pump": "Water pump weak"}
    assert alike("condenser fan dead", known) == ("Condenser fan or one speed dead",)
    assert alike("wtaer pump weak", known) == ("Water pump weak",)
    assert alike("rear blower resistor burnt", known) == ()


def test_a_name_like_one_that_is_there_is_taken_when_it_is_sent_again():
    known = {"pump": "Water pump weak"}
    with pytest.raises(TermError, match="like one that is there: Water pump weak") as refused:
        refuse_alike("water pump is weak", known, sure=False)
    assert refused.value.like == ("Water pump weak",)
    refuse_alike("water pump is weak", known, sure=True)


def test_two_numbers_are_read_or_named_at_their_field():
    assert numbers("1,200", "1500", fields=("a", "b")) == (1200.0, 1500.0)
    assert numbers("", " ", fields=("a", "b")) is None
    for low, high, field in (("x", "1", "a"), ("1", "", "b"), ("2", "1", "a"), ("nan", "1", "a")):
        with pytest.raises(TermError) as refused:
            numbers(low, high, fields=("a", "b"))
        assert list(refused.value.by_field) == [field]
