import re

import pytest
from markupsafe import escape
from sqlalchemy import insert

from kb.store.shop_tables import UnreadRow
from kb.workflow.words import words_of
from tests.kb.workflow.conftest import NOW
from web.rights import Role

EVIL = "<script>alert('x')</script>\"><b>"
MOST_BYTES = 150_000
WIGGLE = {
    "name": "Flap wiggle", "systems": "hvac", "outcomes": "loose\r\ntight", "minutes_low": "2",
    "minutes_high": "4", "kind": "observe", "access": "none",
}  # fmt: skip
GAP = {
    "name": "Flap gap", "system": "hvac", "unit": "mm", "hard_low": "0", "hard_high": "20",
    "typical_low": "1", "typical_high": "2", "short": "flap",
}  # fmt: skip
PARTS = ("unread", "causes", "checks", "quantities", "meanings", "families")


def added(site, kind, /, **form):
    answer = site.send(f"/words/add/{kind}", **form)
    assert answer.status_code == 302, answer.text
    return site.page(answer.location)


def refused(site, path, /, **form):
    answer = site.send(path, **form)
    assert answer.status_code == 400, answer.text
    return answer.text


def unread(site, **by_word):
    rows = [
        {"job_id": job, "word": word, "at": NOW} for word, jobs in by_word.items() for job in jobs
    ]
    site.write(lambda unit: unit.connection.execute(insert(UnreadRow), rows))


def words(site):
    with site.store.read() as unit:
        return words_of(unit)


def message(text, field):
    (found,) = re.findall(rf'id="{field}-error" role="alert">([^<]*)', text)
    return found


@pytest.mark.parametrize("part", PARTS)
def test_every_part_of_the_page_is_small_with_the_full_vocabulary(site, part):
    text = site.page(f"/words?show={part}")
    assert len(text.encode()) < MOST_BYTES
    assert text.count('aria-current="true"') == 1
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids))


def test_a_part_that_nobody_knows_shows_the_first(site):
    assert "Everything typed so far was understood" in site.page("/words?show=rumours")


def test_the_filter_shows_the_terms_that_have_the_letters(site):
    text = site.page("/words?show=causes&q=condenser+fan")
    assert "Condenser fan or one speed dead" in text
    assert "1 job" in text
    assert "Overcharge" not in text
    assert "Nothing with these letters" in site.page("/words?show=families&q=zzz")


def test_a_cause_is_added_and_the_close_page_offers_it_at_once(site):
    text = added(site, "cause", name="Leaf nest in the blower", system="hvac", part="blower")
    assert "Leaf nest in the blower" in text
    assert "by shop" in text
    job = site.opened()
    assert '<option value="leaf_nest_in_the_blower"' in site.page(f"/job/{job}/close")


def test_a_name_like_one_that_is_there_is_added_when_it_is_sent_again(site):
    form = {"name": "condenser fan is dead", "system": "hvac"}
    text = refused(site, "/words/add/cause", **form)
    assert "like one that is there: Condenser fan or one speed dead" in message(text, "name")
    assert 'value="condenser fan is dead"' in text
    (sure,) = re.findall(r'name="sure" value="([^"]+)"', text)
    other = {**form, "name": "condenser fan so dead"}
    assert "like one that is there" in refused(site, "/words/add/cause", **other, sure=sure)
    added(site, "cause", **form, sure=sure)
    assert "condenser_fan_is_dead" in words(site).causes


def test_what_is_wrong_stands_at_its_field_with_everything_typed_kept(site):
    text = refused(site, "/words/add/quantity", **{**GAP, "hard_high": "many"})
    assert message(text, "hard_high") == "expected a number, got &#39;many&#39;"
    assert 'aria-describedby="hard_high-error"' in text
    assert 'value="Flap gap"' in text
    assert '<option value="mm" selected>' in text
    assert message(refused(site, "/words/add/check", **{**WIGGLE, "outcomes": "x"}), "outcomes")
    assert message(refused(site, "/words/add/family", name="C", members=""), "members")
    assert message(refused(site, "/words/add/cause", name="", system="hvac"), "name")


def test_a_check_and_a_quantity_are_understood_on_the_job_page(site):
    added(site, "check", **WIGGLE)
    added(site, "quantity", **GAP)
    job = site.opened("flap wiggle loose; flap gap 3 mm")
    text = site.page(f"/job/{job}")
    assert "Flap wiggle" in text
    assert "Flap gap" in text
    assert site.get(job).findings[0].outcome == "loose"


def test_a_family_is_filled_in_and_shown(site):
    added(site, "family", name="C platform", members="Pellarin Copse\r\nWicket")
    job = site.opened(vehicle="2016 Pellarin Copse")
    assert site.get(job).vehicle.family == "C platform"
    assert ", family C platform" in site.page(f"/job/{job}")


def test_an_unread_word_gets_its_meaning_by_one_tap_and_is_understood(site):
    site.opened("kompressr dead")
    site.opened("kompressr plonk")
    unread(site, kompressr=["S1"], plonk=["S1"])
    text = site.page("/words")
    assert text.index("kompressr") < text.index("plonk")
    assert "2 jobs" in text
    (pick,) = re.findall(
        r'name="pick" value="(part\|ac_compressor)" aria-label="[^"]*: kompressr"', text
    )
    assert site.send("/words/means", word="kompressr", pick=pick).status_code == 302
    assert "kompressr" not in site.page("/words")
    assert "2 jobs, last in" in site.page("/words?q=plonk")
    assert "means" in site.page("/words?show=meanings")
    other = site.opened("kompressr")
    assert "Say again" not in site.page(f"/job/{other}")


def test_the_words_that_wait_are_drawn_anew_for_each_right_and_after_a_change(site):
    unread(site, plonk=["S1"])
    viewer = site.as_role(Role.VIEWER)
    for _ in range(2):
        assert "Keep the meaning of plonk" in site.page("/words")
        assert "Keep the meaning" not in viewer.page("/words")
    unread(site, zorb=["S1"])
    assert "zorb" in viewer.page("/words")
    text = refused(site, "/words/means", word="zorb", what="")
    assert 'class="wrong" role="alert">zorb' in text
    assert 'class="wrong"' not in site.page("/words")


def test_a_meaning_can_be_typed_as_the_name_of_a_term_or_as_another_word(site):
    for word, what in (("wuffles", "Air not cold at full cold"), ("gubbins", "whatsit")):
        answer = site.send("/words/means", word=word, what=what, **{"from": "meanings"})
        assert answer.location.endswith("show=meanings")
    kinds = {row.word: (row.kind, row.key) for row in words(site).shop.meanings}
    assert kinds == {"wuffles": ("symptom", "ac_not_cold"), "gubbins": ("word", "whatsit")}


def test_a_word_is_set_aside_and_put_back(site):
    unread(site, plonk=["S1"])
    site.send("/words/means", word="plonk", pick="aside")
    text = site.page("/words")
    assert "Everything typed so far was understood" in text
    assert "Set aside" in text
    site.send("/words/out", kind="ignored", key="plonk")
    assert "Set aside: plonk" in site.page("/words")


@pytest.mark.parametrize(
    ("form", "status"),
    [
        ({"word": "", "what": "fan"}, 400),
        ({"word": "wuffles", "what": ""}, 400),
        ({"word": "wuffles", "pick": "symptom|nope"}, 400),
        ({"word": "wuffles", "pick": "rumour"}, 400),
        ({"word": "x" * 10_000, "what": "fan"}, 400),
        ({"word": "", "pick": "aside"}, 400),
    ],
)
def test_a_meaning_that_cannot_be_is_refused_and_nothing_is_kept(site, form, status):
    answer = site.send("/words/means", **form)
    assert answer.status_code == status
    assert 'role="alert"' in answer.text
    assert not words(site).shop.meanings


def test_two_causes_are_joined_after_a_look_and_the_case_says_both(site):
    added(site, "cause", name="Blower up front kaput", system="hvac")
    look = site.page("/words/merge?kind=cause&key=condenser_fan_dead&into=blower_up_front_kaput")
    assert "Condenser fan or one speed dead: 1 job" in look
    assert "Blower up front kaput: 0 jobs" in look
    pair = {"kind": "cause", "key": "condenser_fan_dead", "into": "blower_up_front_kaput"}
    assert site.send("/words/merge", **pair).location.endswith("show=causes")
    case = site.page("/case/S1")
    assert "Blower up front kaput (written down as “Condenser fan or one speed dead”)" in case
    found = site.page("/find?q=cold+on+the+road+warm+at+lights")
    assert "Blower up front kaput" in found
    assert "Blower up front kaput stands for it now" in site.page("/words?show=causes")
    site.send("/words/part", kind="cause", key="condenser_fan_dead")
    assert "written down as" not in site.page("/case/S1")
    assert site.get("S1").closing.cause == "condenser_fan_dead"


@pytest.mark.parametrize(
    ("form", "status"),
    [
        ({"kind": "cause", "key": "overcharge", "into": "overcharge"}, 400),
        ({"kind": "check", "key": "coil_swap", "into": "plug_look"}, 400),
        ({"kind": "rumour", "key": "a", "into": "b"}, 400),
        ({"kind": "cause", "key": "overcharge", "into": "nope"}, 404),
        ({"kind": "cause", "key": EVIL, "into": "overcharge"}, 404),
    ],
)
def test_what_cannot_be_joined_is_refused_in_plain_words(site, form, status):
    answer = site.send("/words/merge", **form)
    assert answer.status_code == status
    assert "expected" in answer.text
    assert "<script>alert" not in answer.text
    assert not words(site).shop.merged


def test_a_look_at_the_same_cause_twice_says_so(site):
    look = site.page("/words/merge?key=overcharge&into=overcharge")
    assert "expected two different ones" in look
    assert "What will be joined" not in look


def test_a_cause_is_taken_out_of_use_and_put_back(site):
    added(site, "cause", name="Leaf nest", system="hvac")
    site.send("/words/out", kind="cause", key="leaf_nest")
    assert "Put back: Leaf nest" in site.page("/words?show=causes")
    assert "leaf_nest" not in site.page(f"/job/{site.opened()}/close")
    site.send("/words/out", kind="cause", key="leaf_nest", back="yes")
    assert "leaf_nest" in words(site).causes
    assert site.send("/words/out", kind="rumour", key="x").status_code == 404
    assert site.send("/words/out", kind="cause", key="nope").status_code == 404


def test_what_a_word_means_cannot_be_taken_out_from_under_it(site):
    added(site, "check", **WIGGLE)
    site.send("/words/means", word="wobbled", pick="check|flap_wiggle")
    assert "wobbled" in refused(site, "/words/out", kind="check", key="flap_wiggle")


@pytest.mark.parametrize(
    "name",
    [EVIL, "'; DROP TABLE jobs; --", '"""\n[[cause]]', "Größe 日本 ☃", "a.*b|(c", "{{ 7*7 }} x"],
)
def test_any_name_is_only_a_name_on_every_part(site, name):
    added(site, "cause", name=name, system="hvac")
    added(site, "check", **{**WIGGLE, "name": name})
    added(site, "quantity", **{**GAP, "name": name, "short": name})
    added(site, "family", name=name, members=name.replace("\n", " "))
    site.send("/words/means", word=name, pick="symptom|ac_not_cold")
    for part in PARTS:
        text = site.page(f"/words?show={part}")
        assert "<script>alert" not in text
        assert "<b>" not in text
        shown = str(escape(" ".join(name.split())))
        assert part == "unread" or shown.lower() in text.lower()
    site.page(f"/job/{site.opened(f'{name} at idle 3 mm')}")


def test_a_form_that_is_sent_twice_makes_one_term(site):
    form = {"name": "Leaf nest", "system": "hvac", "form_id": "b" * 32}
    for _ in range(2):
        assert site.send("/words/add/cause", **form).status_code == 302
    with site.store.read() as unit:
        assert len(unit.terms.rows("cause")) == 1


def test_every_role_sees_and_only_those_who_may_are_shown_the_forms(site):
    added(site, "cause", name="Leaf nest", system="hvac")
    shown = {
        role: ("Add a cause" in text, "out of use" in text)
        for role in Role
        for text in [site.as_role(role).page("/words?show=causes")]
    }
    assert shown == {
        Role.VIEWER: (False, False),
        Role.ADVISOR: (False, False),
        Role.TECHNICIAN: (True, False),
        Role.FOREMAN: (True, True),
        Role.OWNER: (True, True),
    }


def test_the_page_stays_small_and_whole_with_many_own_words(site):
    def many(unit):
        from kb.case.shop_rows import ShopTerm  # noqa: PLC0415

        for number in range(200):
            body = {"system": "hvac"}
            name = f"Own cause number {number}"
            unit.terms.add(ShopTerm(kind="cause", key=f"own_{number}", name=name, body=body))

    site.write(many)
    unread(site, **{f"zorb{n}x": ["S1"] for n in range(200)})
    for part in PARTS:
        assert len(site.page(f"/words?show={part}").encode()) < MOST_BYTES
    assert "140 more; the box above finds them" in site.page("/words?show=causes")
    assert "Own cause number 199" in site.page("/words?show=causes&q=number+199")
