import time

import pytest

from kb.case.parse import parse
from kb.case.shop_rows import ShopTerm
from kb.case.shop_words import with_shop_terms
from kb.case.terms import load_vocabulary
from kb.errors import VocabularyError

WORDS = load_vocabulary()


def row(kind, name, /, **body):
    merged = body.pop("merged_into", None)
    key = body.pop("key", name.lower().replace(" ", "_"))
    return ShopTerm(kind=kind, key=key, name=name, body=body, merged_into=merged)


def means(word, kind, what):
    return row("synonym", word, key=word, means=kind, what=what)


def laid(*rows):
    return with_shop_terms(WORDS, rows)


GAP = row(
    "quantity", "Flap gap", unit="mm", hard=[0, 20], typical=[1, 2], system="hvac", short=["flap"]
)
WIGGLE = row("check", "Flap wiggle", systems=["hvac"], outcomes=["loose", "tight"])
WORN = row("cause", "Flap worn", system="hvac", part="flap")


def test_without_rows_the_shipped_vocabulary_is_given_back_itself():
    assert laid() is WORDS


def test_a_shop_term_stands_among_those_that_ship():
    words = laid(GAP, WIGGLE, WORN)
    assert words.cause("flap_worn").name == "Flap worn"
    assert words.check("flap_wiggle").outcomes == ("loose", "tight")
    assert words.quantity("flap_gap").typical == (1.0, 2.0)
    assert len(words.causes) == len(WORDS.causes) + 1
    assert "flap_worn" not in WORDS.causes


# --- what the parser understands now --------------------------------------------------------------


def test_a_word_means_a_symptom_with_its_denial_and_its_condition():
    words = laid(means("wuffles", "symptom", "ac_not_cold"))
    assert parse("wuffles at idle").unread
    parsed = parse("wuffles at idle", words=words)
    assert [(s.concept, s.conditions) for s in parsed.symptoms] == [("ac_not_cold", ("at_idle",))]
    assert not parsed.unread
    assert str(parse("no wuffles", words=words).symptoms[0].polarity) == "no"


def test_what_the_shop_says_holds_in_the_middle_of_a_story():
    words = laid(means("wuffles", "symptom", "ac_not_cold"))
    story = "customer states that this blooming thing wuffles something awful after church"
    assert [s.concept for s in parse(story, words=words).symptoms] == ["ac_not_cold"]


def test_a_word_means_a_condition():
    words = laid(means("molasses time", "condition", "engine_cold"))
    assert parse("squeals, molasses time", words=words).conditions == ("engine_cold",)


def test_a_word_means_a_quantity_and_wins_over_what_the_name_meant():
    words = laid(means("snout temp", "quantity", "vent_temp"))
    (reading,) = parse("snout temp 68F", words=words).reading_sets[0].readings
    assert (reading.quantity, reading.typed, reading.unit) == ("vent_temp", "68", "degF")


def test_a_word_means_a_check():
    words = laid(means("dabbed", "check", "coil_swap"))
    (finding,) = parse("dabbed cyl 2: fault moved", words=words).findings
    assert (finding.check, finding.outcome) == ("coil_swap", "fault_moved")


def test_a_word_means_another_word_with_whatever_that_one_means():
    words = laid(means("gubbins", "word", "compressor"))
    assert parse("gubbins dead", words=words).tokens == ("ac_compressor:dead|yes|",)


def test_a_word_means_a_part_that_a_cause_lies_in():
    words = laid(WORN, means("flippet", "part", "flap"))
    assert words.groups["flap"].also == ("flippet",)
    assert parse("flippet dead", words=words).tokens == ("flap:dead|yes|",)


def test_a_word_of_which_nobody_knows_the_meaning_is_at_least_read():
    words = laid(means("zonkster", "word", "whatsit"))
    assert not parse("zonkster", words=words).unread
    assert words.shop.in_search("zonkster hums") == "whatsit hums"


def test_a_word_that_was_set_aside_is_not_shown_as_unread():
    words = laid(row("ignored", "plonk"))
    assert [u.text for u in parse("plonk").unread] == ["plonk"]
    assert not parse("plonk", words=words).unread


def test_a_shop_quantity_is_read_by_name_and_short_name_and_its_limits_refuse():
    words = laid(GAP)
    for text in ("flap gap 3 mm", "flap 3 mm"):
        (reading,) = parse(text, words=words).reading_sets[0].readings
        assert (reading.quantity, reading.canonical) == ("flap_gap", 3.0)
    parsed = parse("flap gap 400 mm", words=words)
    assert not parsed.reading_sets
    assert "expected Flap gap from 0 to 20 mm" in parsed.refused[0].message


def test_a_shop_quantity_is_taken_in_any_unit_of_its_kind():
    words = laid(GAP)
    (reading,) = parse("flap gap 0.1 in", words=words).reading_sets[0].readings
    assert reading.canonical == pytest.approx(2.54)


def test_a_shop_check_is_read_with_its_outcome():
    (finding,) = parse("flap wiggle loose", words=laid(WIGGLE)).findings
    assert (finding.check, finding.outcome) == ("flap_wiggle", "loose")


@pytest.mark.parametrize(
    "word", ["a.*b", "c++ thing", "[x]", "$set", "!no", "a/b", "= =", "'; drop"]
)
def test_signs_of_any_grammar_in_a_word_break_nothing(word):
    words = laid(means(word, "symptom", "ac_not_cold"), means(word + "2", "quantity", "vent_temp"))
    scan = parse(f"{word} and cold at idle; no codes", words=words).scan
    assert scan is not None
    assert scan.none_found
    assert parse("vent 68F", words=words).reading_sets == parse("vent 68F").reading_sets


# --- merged and out of use ------------------------------------------------------------------------


def test_a_merged_cause_is_called_what_stands_for_it_and_stays_known_to_records():
    words = laid(WORN, row("cause", "Flap gone", system="hvac", merged_into="flap_worn"))
    assert words.cause_name("flap_gone") == "Flap worn"
    assert "flap_gone" not in words.causes
    assert words.cause("flap_gone").name == "Flap gone"
    assert words.shop.now("cause", "flap_gone") == "flap_worn"


def test_merges_are_followed_to_their_end():
    steps = [("A thing", "b_thing"), ("B thing", "c_thing"), ("C thing", "overcharge")]
    words = laid(*(row("cause", name, system="hvac", merged_into=to) for name, to in steps))
    assert {words.shop.now("cause", key) for key in ("a_thing", "b_thing", "c_thing")} == {
        "overcharge"
    }


@pytest.mark.parametrize("ring", [1, 2, 5])
def test_a_circle_of_merges_is_refused_by_name(ring):
    rows = [
        row("cause", f"thing {n}", system="hvac", merged_into=f"thing_{(n + 1) % ring}")
        for n in range(ring)
    ]
    with pytest.raises(VocabularyError, match="the shop's cause 'thing_"):
        laid(*rows)


def test_a_cause_that_ships_can_be_merged_and_its_likes_follow():
    words = laid(row("cause", "x", key="condenser_fouled", merged_into="condenser_fan_dead"))
    assert "condenser_fouled" not in words.causes
    assert all("condenser_fouled" not in cause.like for cause in words.causes.values())
    assert all(key not in cause.like for key, cause in words.causes.items())


def test_a_cause_out_of_use_is_not_offered_and_keeps_its_name():
    words = laid(row("cause", "Overcharge", key="overcharge", out=True))
    assert "overcharge" not in words.causes
    assert words.cause_name("overcharge") == WORDS.causes["overcharge"].name


def test_an_expected_outcome_goes_to_the_check_that_stands_there_only_where_it_has_it():
    words = laid(row("check", "Wiggle too", systems=["hvac"], outcomes=["loose", "odd"],
                     merged_into="flap_wiggle"), WIGGLE)  # fmt: skip
    assert words.shop.checks == ("flap_wiggle",)
    assert words.check_name("wiggle_too") == "Flap wiggle"


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (row("cause", "X", system="boats"), "cause 'x': expected a system, got boats"),
        (row("cause", "X", system="hvac", complaints=["nope"]), "expected a symptom, got nope"),
        (row("check", "X", systems=["hvac"], outcomes=["one"]), "at least two outcomes"),
        (row("check", "X", systems=["hvac"], outcomes=["a", "b"], kind="guess"), "expected a kind"),
        (row("check", "X", systems="hvac", outcomes=["a", "b"]), "systems as a list of words"),
        (row("check", "X", systems=["hvac"], outcomes=["a", "b"], minutes=[0, 2]), "minutes above 0"),
        (row("quantity", "X", unit="furlong", hard=[0, 1]), "expected a known unit, got furlong"),
        (row("quantity", "X", unit="mm"), "expected hard limits"),
        (row("quantity", "X", unit="mm", hard=[1, 0]), "the lower number first"),
        (row("quantity", "X", unit="mm", hard=["a", 1]), "hard as two numbers"),
        (row("quantity", "X", unit="mm", hard=[0, float("nan")]), "hard as two numbers"),
        (row("quantity", "X", unit="mm", hard=[0, 1], typical=[0, 2]), "usual band inside 0 to 1"),
        (row("family", "X", members=[["only"]]), "expected a make and a model"),
        (means("x", "symptom", "nope"), "synonym 'x': expected something that the vocabulary knows"),
        (means("x", "rumour", "nope"), "rumour 'nope'"),
        (means("x", "part", "nope"), "part 'nope'"),
        (row("rumour", "X"), "expected a kind out of"),
        (row("cause", "X", system="hvac", merged_into="nope"), "another cause to stand for it, got nope"),
        (row("check", "x", key="coil_swap", merged_into="plug_look"), "a check that the shop added"),
        (row("quantity", "x", key="vent_temp", out=True), "a quantity that the shop added"),
        (row("quantity", "X", unit="mm", hard=[0, 1], merged_into="vent_temp"), "in one unit"),
    ],
)  # fmt: skip
def test_a_row_that_does_not_fit_is_named_with_what_was_expected(bad, said):
    with pytest.raises(VocabularyError) as refused:
        laid(bad)
    assert said in str(refused.value)
    assert len(str(refused.value)) < 300


def test_a_meaning_follows_its_term_when_that_is_merged():
    words = laid(
        WIGGLE,
        row("check", "Wiggle too", systems=["hvac"], outcomes=["loose", "tight"],
            merged_into="flap_wiggle"),
        means("wobbled", "check", "wiggle_too"),
    )  # fmt: skip
    assert [meaning.key for meaning in words.shop.meanings] == ["flap_wiggle"]


def test_the_mark_changes_with_what_an_index_is_made_with_alone():
    first = laid(WORN)
    assert first.shop.mark == laid(WORN).shop.mark != ""
    assert laid(WORN, row("ignored", "plonk")).shop.mark == first.shop.mark
    assert laid(WORN, GAP).shop.mark != first.shop.mark
    assert laid(row("ignored", "plonk")).shop.mark == ""


def test_a_vocabulary_is_made_ready_for_reading_once(monkeypatch):
    words = laid(*(means(f"wuffle{n}x", "symptom", "ac_not_cold") for n in range(200)))
    parse("vent 68F", words=words)
    built = []
    monkeypatch.setattr("kb.case.grammar.lexicon.Lexicon.finish", lambda self: built.append(1))
    started = time.perf_counter()
    for _ in range(20):
        parse("wuffle7x at idle", words=words)
    assert not built
    # Building takes some 100 ms a time, so that even a slow machine tells the two apart.
    assert time.perf_counter() - started < 2
