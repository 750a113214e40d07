"""How long a parse takes with the shop's own words, as a ratio to the vocabulary that ships.

Run: ``python -m tests.benchmarks.bench_shop_words [--words 200]``. Both are timed in the same run
on the demonstration's own lines, turn by turn, so that a busy machine slows both.
"""

import argparse
import statistics
import time

from kb.case.casefile import read_folder
from kb.case.parse import parse
from kb.case.shop_rows import ShopTerm
from kb.case.shop_words import with_shop_terms
from kb.case.terms import Vocabulary, load_vocabulary
from kb.retrieval.features import said_text
from kb.store.migrate import bundled

KINDS = ("symptom", "condition", "quantity", "check", "part", "word")


def invented(count: int) -> list[ShopTerm]:
    """Return words that nobody says, one kind of meaning after the other, and causes."""
    words = load_vocabulary()
    keys = {
        "symptom": list(words.symptoms), "condition": list(words.conditions),
        "quantity": list(words.quantities), "check": list(words.checks),
        "part": list(words.groups), "word": ["compressor", "whatsit"],
    }  # fmt: skip
    made = []
    for number in range(count):
        kind = KINDS[number % len(KINDS)]
        body = {"means": kind, "what": keys[kind][number % len(keys[kind])]}
        word = f"zorb{number}x"
        made.append(ShopTerm(kind="synonym", key=word, name=word, body=body))
    return made


def seconds(line: str, words: Vocabulary) -> float:
    """Return how long one parse takes."""
    started = time.perf_counter()
    parse(line, words=words)
    return time.perf_counter() - started


def main() -> None:
    """Print both times and their ratio."""
    parser = argparse.ArgumentParser(description="parse with the shop's own words")
    parser.add_argument("--words", type=int, default=200)
    count = parser.parse_args().words
    shipped = load_vocabulary()
    started = time.perf_counter()
    laid = with_shop_terms(shipped, invented(count))
    overlay = time.perf_counter() - started
    lines = [
        line
        for job in read_folder(bundled("seed_cases"))[0]
        for line in said_text(job).splitlines()
    ]
    started = time.perf_counter()
    parse("vent 68F", words=laid)
    ready = time.perf_counter() - started
    parse("vent 68F", words=shipped)
    pairs = [(seconds(line, shipped), seconds(line, laid)) for line in lines * 3]
    before, after = (statistics.median(times) for times in zip(*pairs, strict=True))
    slowest = sorted(times[1] for times in pairs)[int(0.99 * len(pairs))]
    print(f"{count} words over {len(lines)} lines: laid over in {1000 * overlay:.1f} ms, "
          f"made ready in {1000 * ready:.0f} ms")  # fmt: skip
    print(f"shipped {1000 * before:.2f} ms, with words {1000 * after:.2f} ms a parse, "
          f"ratio {after / before:.2f}, 99 of 100 under {1000 * slowest:.1f} ms")  # fmt: skip


if __name__ == "__main__":
    main()
