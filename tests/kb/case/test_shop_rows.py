import pytest

from kb.case.shop_rows import NO_SHOP_WORDS, Meaning, ShopTerm, ShopWords

COMPRESSOR = Meaning(word="gubbins", kind="word", key="compressor", says="compressor")


def test_search_reads_a_word_as_what_it_means_and_leaves_the_rest():
    shop = ShopWords(meanings=(COMPRESSOR,))
    assert shop.in_search("Gubbins howls, GUBBINS dead") == "compressor howls, compressor dead"
    assert shop.in_search("gubbinses, regubbins") == "gubbinses, regubbins"


def test_the_longer_of_two_words_is_read_first():
    long = Meaning(word="gubbins belt", kind="word", key="belt", says="belt")
    shop = ShopWords(meanings=(COMPRESSOR, long))
    assert shop.in_search("gubbins belt squeals") == "belt squeals"


@pytest.mark.parametrize("word", ["a.*b", "(x", "c++", "[z]", "\\d+", "^start$"])
def test_signs_of_a_pattern_in_a_word_are_only_signs(word):
    shop = ShopWords(meanings=(Meaning(word=word, kind="word", key="fan", says="fan"),))
    assert shop.in_search(f"the {word} hums") == "the fan hums"
    assert shop.in_search("the axxb hums 12") == "the axxb hums 12"


def test_without_words_of_the_shop_nothing_changes():
    text = "gubbins howls"
    assert NO_SHOP_WORDS.in_search(text) is text
    assert NO_SHOP_WORDS.now("cause", "overcharge") == "overcharge"


def test_the_name_of_a_word_is_the_same_in_every_process_and_its_own():
    first = Meaning(word="große flap!", kind="symptom", key="x", says="x")
    second = Meaning(word="gro e flap?", kind="symptom", key="x", says="x")
    assert first.name.startswith("own_gro_e_flap_")
    assert first.name != second.name


def test_a_row_says_whether_it_is_out_of_use():
    assert ShopTerm(kind="cause", key="k", name="k", body={"out": True}).out_of_use
    assert not ShopTerm(kind="cause", key="k", name="k").out_of_use
