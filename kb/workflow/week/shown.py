"""Answers kept at closes, with the terms that stand for theirs now."""

from dataclasses import replace

from kb.case.shop_rows import ShopWords
from kb.store.answers import ShownAnswer


def answer_now(shown: ShownAnswer, shop: ShopWords) -> ShownAnswer:
    """Return an answer with each merged cause and check as the one that stands for it now.

    Chances of causes that became one are added up; the likeliest stand first.
    """
    chances: dict[str | None, float] = {}
    for cause, chance in shown.causes:
        now = cause and shop.now("cause", cause)
        chances[now] = chances.get(now, 0.0) + chance
    gains = (replace(gain, check=shop.now("check", gain.check)) for gain in shown.gains)
    return replace(
        shown,
        causes=tuple(sorted(chances.items(), key=lambda pair: -pair[1])),
        first_check=shown.first_check and shop.now("check", shown.first_check),
        gains=tuple(gains),
    )
