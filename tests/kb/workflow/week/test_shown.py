from kb.case.shop_rows import ShopWords
from kb.store.answers import Gain, ShownAnswer
from kb.workflow.week.shown import answer_now

GAIN = Gain(
    ordinal=0, check="old_check", subject=None, outcome="normal", minutes=None, bits=0.5,
    lead_changed=False,
)  # fmt: skip


def test_merged_causes_are_one_and_the_likeliest_stands_first():
    shop = ShopWords(merged={("cause", "fan_old"): "fan", ("check", "old_check"): "new_check"})
    shown = ShownAnswer(
        causes=(("leak", 0.4), ("fan", 0.25), ("fan_old", 0.25), (None, 0.1)),
        first_check="old_check",
        gains=(GAIN,),
    )
    now = answer_now(shown, shop)
    assert now.causes == (("fan", 0.5), ("leak", 0.4), (None, 0.1))
    assert now.first_check == "new_check"
    assert [row.check for row in now.gains] == ["new_check"]
