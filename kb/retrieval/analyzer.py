"""Text to terms: words, word pairs and character n-grams, counted.

The conventions are scikit-learn's (``TfidfVectorizer`` with ``analyzer="word"`` and
``"char_wb"``), so that its own neighbours can be the oracle in the tests.
"""

import re
from collections import Counter
from functools import lru_cache
from itertools import chain, pairwise
from typing import Final

# Lengths of the character n-grams: 2 to 4 beat 3 to 5 on five sets of real short work orders
# (nDCG@10 .518/.497, .303/.296, .522/.513, .672/.638, .778/.744 on the characters alone).
CHAR_LENGTHS: Final = (2, 4)
# Words that say nothing by themselves: counted, but not shown as a reason. "No", "not", "off",
# "on", "over" and the like do say something in this trade.
SMALL_WORDS: Final = frozenset({
    "no", "not", "off", "on", "over", "a", "again", "against", "an", "and", "are", "as", "at", "be",
    "been", "but", "by", "for", "from", "goes", "had", "has", "have", "her", "his", "i", "in", "is",
    "it", "its", "me", "my", "of", "so", "that", "the", "their", "them", "then", "there", "they",
    "this", "to", "up", "was", "we", "were", "when", "with", "you",
})  # fmt: skip
_WORD: Final = re.compile(r"\b\w\w+\b")
# Words that turn the word after them into its contrary.
_TURNING: Final = frozenset({"no", "not", "never", "without"})
# A longer run of characters is not a word that somebody typed; its tail is cut (our choice).
_MAX_WORD: Final = 64


def told_words(text: str) -> list[str]:
    """Return the words of ``text``, and those that a word before them turns, as a pair of words.

    Single letters are no words.

    Examples
    --------
    >>> told_words("Has drive, no reverse")
    ['has', 'drive', 'no', 'reverse', 'no reverse']
    """
    words: list[str] = _WORD.findall(text.lower())
    if _TURNING.isdisjoint(words):
        return words
    pairs = pairwise(words)
    return words + [f"{first} {second}" for first, second in pairs if first in _TURNING]


def word_terms(text: str) -> Counter[str]:
    """Return the words and neighbouring word pairs of ``text`` with their counts.

    Examples
    --------
    >>> sorted(word_terms("no start no spark"))
    ['no', 'no spark', 'no start', 'spark', 'start', 'start no']
    """
    words = _WORD.findall(text.lower())
    terms = Counter(words)
    terms.update(f"{first} {second}" for first, second in pairwise(words))
    return terms


# Some .9 kB a word; the words that come again and again fit in, while numbers that are typed once
# do not fill a process over days (our choice).
@lru_cache(maxsize=4_096)
def word_grams(word: str, lengths: tuple[int, int]) -> tuple[str, ...]:
    """Return the character n-grams of a word with a space at either end, from short to long.

    Examples
    --------
    >>> word_grams("fan", (2, 3))
    (' f', 'fa', 'an', 'n ', ' fa', 'fan', 'an ')
    """
    padded = f" {word[:_MAX_WORD]} "
    grams: list[str] = []
    for length in range(lengths[0], lengths[1] + 1):
        if len(padded) <= length:
            grams.append(padded)
            break
        grams.extend(padded[at : at + length] for at in range(len(padded) - length + 1))
    return tuple(grams)


def char_words(text: str) -> list[str]:
    """Return the words of ``text`` of which ``char_terms`` counts the n-grams."""
    return text.lower().split()


def char_terms(text: str) -> Counter[str]:
    """Return the character n-grams inside word boundaries with their counts.

    References
    ----------
    Cavnar & Trenkle (1994), N-gram-based text categorization (from memory).
    """
    words = Counter(char_words(text))
    grams = {word: word_grams(word, CHAR_LENGTHS) for word in words}
    # Each word once, then those that came again: a text of many notes has each word many times.
    terms: Counter[str] = Counter(chain.from_iterable(grams.values()))
    for word, count in words.items():
        if count > 1:
            for gram in grams[word]:
                terms[gram] += count - 1
    return terms
