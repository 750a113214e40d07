"""What the shop says its own words mean, put among the words of the grammar."""

from typing import Any

from kb.case.grammar.lexicon import Lexicon, phrase_words
from kb.case.shop_rows import Meaning
from kb.case.terms import Vocabulary


def add_own_words(lexicon: Lexicon, words: Vocabulary) -> None:
    """Add to a finished lexicon what the shop's words mean, whatever they say elsewhere."""
    for row in words.shop.meanings:
        classes = _classes(lexicon, row)
        if classes:
            _put(lexicon, row.word, classes)
    if words.shop.meanings:
        lexicon.stems = frozenset(lexicon.spelled.values()) | lexicon.left


def _classes(lexicon: Lexicon, row: Meaning) -> list[tuple[str, str]]:
    """Return the classes of a word; a plain one has those of the word that it means."""
    if row.kind == "symptom":
        lexicon.classes.setdefault(row.name, "state")
        return [("state", row.name)]
    if row.kind in {"condition", "part"}:
        return [("condition" if row.kind == "condition" else "group", row.key)]
    if row.kind == "word":
        stems = [stem for text, stem in phrase_words(row.key) if text not in lexicon.filler]
        size, classes = lexicon.longest(stems, 0)
        return list(classes) if stems and size == len(stems) else [("word", row.name)]
    return []


def _put(lexicon: Lexicon, phrase: str, classes: list[tuple[str, str]]) -> None:
    words = phrase_words(phrase)
    node = lexicon.trie
    for part in [stem for text, stem in words if text not in lexicon.filler]:
        node = node.setdefault(part, {})
    if node is not lexicon.trie:
        node[""] = classes
        lexicon.spelled.update(words)


def own_actions(words: Vocabulary) -> list[dict[str, Any]]:
    """Return rows of actions for checks that the shop added, or calls by words of its own.

    An outcome of the shop's own check is said in its own words.
    """
    says: dict[str, list[str]] = {key: [words.checks[key].name] for key in words.shop.checks}
    for row in words.shop.meaning("check"):
        says.setdefault(row.key, []).append(row.word)
    return [
        {
            "check": key,
            "say": [phrase.partition(" (")[0] for phrase in said],
            "outcome": {name: [name.replace("_", " ")] for name in words.checks[key].outcomes},
        }
        for key, said in says.items()
    ]
