import pytest

from kb.case.shop_rows import ShopTerm
from kb.workflow.words import words_of
from web.word_pages import MOST_OWN, PARTS, name_of, word_page


def shown(site, part, wanted=""):
    with site.store.read() as unit:
        return word_page(unit, words_of(unit), part, wanted=wanted)


@pytest.mark.parametrize("part", PARTS)
def test_a_part_of_a_new_shop_holds_nothing_of_its_own(site, part):
    page = shown(site, part)
    assert (page.own, page.hidden, page.unread) == ((), 0, ())


def test_terms_that_ship_are_grouped_by_system_with_their_jobs(site):
    page = shown(site, "causes")
    assert len(page.shipped) == 13
    rows = dict(page.shipped["Heating and air conditioning"])
    assert rows["Condenser fan or one speed dead"] == 1
    assert sum(len(group) for group in shown(site, "checks").shipped.values()) == 147


def test_own_terms_beyond_one_page_are_counted(site):
    def many(unit):
        for n in range(MOST_OWN + 3):
            unit.terms.add(ShopTerm(kind="ignored", key=f"w{n}", name=f"w{n}"))

    site.write(many)
    page = shown(site, "unread")
    assert (len(page.own), page.hidden) == (MOST_OWN, 3)
    assert [row.term.key for row in shown(site, "unread", "w62").own] == ["w62"]


def test_a_name_is_that_of_what_stands_there_now(site):
    words = site.words
    assert name_of(words, "cause", "condenser_fan_dead") == "Condenser fan or one speed dead"
    assert name_of(words, "quantity", "no_such_thing") == "no such thing"
    assert name_of(words, "check", "coil_swap") == words.checks["coil_swap"].name


def test_quantities_are_grouped_under_words_of_the_trade(site):
    groups = list(shown(site, "quantities").shipped)
    assert {"Heating and air conditioning", "Surroundings", "Brakes"} <= set(groups)
    assert not {"Hvac", "Conditions", "Network"} & set(groups)
    names = [name for rows in shown(site, "quantities").shipped.values() for name, _ in rows]
    assert "Ambient air temperature, °F" in names
    assert not [name for name in names if "deg" in name or name.endswith(", ")]
