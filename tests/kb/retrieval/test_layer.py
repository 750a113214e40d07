import numpy as np
import pytest

from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.layer import Joined, Layer, layer_of
from kb.retrieval.measures import Measure


def case(number, said="", value=None, **known):
    measures = () if value is None else (Measure(key="hi_psi", value=value, what="high side"),)
    return CaseFeatures(case=f"C{number}", said=said, measures=measures, **known)


def belt(word):
    return Token(part="finding", field="belt|", value=word, what=f"belt {word}")


BASE = CaseIndex().fit(
    [
        case(at, said, value, cause="worn", tokens=(belt(word),))
        for at, (said, value, word) in enumerate(
            [("squeal cold", 200.0, "glazed"), ("squeal", 210.0, "good"), ("hum", 300.0, "good")]
        )
    ]
)


def test_a_word_a_token_and_a_reading_are_worth_what_they_are_worth_in_the_base():
    layer = Layer(BASE).fit([case(9, "squeal at night", 205.0, tokens=(belt("glazed"),))])
    assert layer.texts_.rarity("squeal") == BASE.texts_.rarity("squeal")
    assert layer.texts_.rarity("night") == BASE.texts_.rarity("never seen")
    assert layer.agreement(belt("glazed")) == BASE.agreement(belt("glazed"))
    assert layer.conflict(belt("glazed")) == BASE.conflict(belt("glazed"))
    assert layer.scale("hi_psi") is BASE.scale("hi_psi")
    expected = BASE.scale("hi_psi").score(205.0, "")
    assert layer.reading_scores("hi_psi").tolist() == [np.float32(expected)]


def test_a_token_that_the_base_never_saw_is_worth_something_and_breaks_nothing():
    layer = Layer(BASE).fit([case(9, tokens=(belt("torn"),)), case(8, tokens=(belt("loose"),))])
    assert layer.agreement(belt("torn")) > 0
    found = layer.ask(case("Q", tokens=(belt("torn"),))).best(2)
    assert [match.case for match in found] == ["C9", "C8"]
    assert [reason.what for reason in found[0].reasons] == ["belt torn (in 0 of 3 cases)"]
    assert found[1].reasons[0].what == "belt torn; otherwise there"
    field = Token(part="finding", field="hose|", value="soft", what="hose soft")
    other = Layer(BASE).fit(
        [case(9, tokens=(Token(part="finding", field="hose|", value="hard", what=""),))]
    )
    assert other.ask(case("Q", tokens=(field,))).scores[0] < 0


def test_columns_run_on():
    joined = Joined((("a", "b"), ("c",), ("d", "e")), (0, 2, 3))
    assert list(joined) == list("abcde")
    assert [joined[row] for row in (1, 2, 4)] == ["b", "c", "e"]
    assert len(joined) == 5


@pytest.mark.parametrize(("row", "layer"), [(0, 0), (1, 0), (2, 1), (3, 2), (9, 2)])
def test_a_row_lies_in_the_last_layer_that_begins_at_or_before_it(row, layer):
    assert layer_of((0, 2, 3), row) == layer
