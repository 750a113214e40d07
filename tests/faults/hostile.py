"""Texts that break programs, and small changes of texts that do not; all drawn by one seed."""

import random
from collections.abc import Sequence
from typing import Final

# Text is bytes here: browsers send any, also such as no encoding takes.
SIGNS: Final = (
    b"", b" ", b"\x00", b"a\x00b", b"\t\r\n", b"\xc2\xa0", b"\xe2\x80\x8b", b"\xef\xbb\xbf",
    # Right to left, isolates, joiners, a flag, a lone surrogate, an overlong slash, half a sign.
    "\u202egnp.exe".encode(), "\u2066\u2069\u200f".encode(), "\U0001f469\u200d\U0001f527".encode(),
    b"\xed\xa0\x80", b"\xed\xbf\xbf", b"\xc0\xaf", b"\xf4\x90\x80\x80", b"\xff\xfe", b"\xe2\x82",
    ("e" + "\u0301" * 10_000).encode(), ("\u0e49" * 300).encode(), "\uffff\ufffe\ufdd0".encode(),
    "İıſßŉǰΐ".encode(), "\u2028\u2029\x85".encode(), b"\x1b[2J\x1b]0;x\x07", b"\x7f\x08",
)  # fmt: skip
NUMBERS: Final = (
    b"0", b"-0", b"-1", b"1e308", b"1e309", b"-1e999", b"1e-400", b"nan", b"inf", b"-Infinity",
    b"9" * 400, b"0x10", b"1_000", b"9223372036854775808", b"-9223372036854775809", b"4294967296",
    b"1,5", b"1.2.3", b".", b"+", b"--5", b"1e", "١٢٣".encode(), "²".encode(), "½".encode(),
    "𝟙𝟚".encode(), b"0000-00-00", b"9999-12-31", b"10000-01-01", b"0001-01-01", b"2026-02-30",
    b"2026-W53", b"2026-W00", b"0000-W01", b"9999-W53", b"1969-12-31", b"2038-01-19", b"1e400 psi",
)  # fmt: skip
TYPED: Final = (
    b"' OR 1=1 --", b'"; DROP TABLE jobs; --', b"%", b"_", b"\\", b"a' || (SELECT 1) || '",
    b'NEAR("a b", 5)', b'"', b"*", b"a* AND (", b"^a:b", b"{{7*7}}", b"{% raw %}", b"%s%n", b"${x}",
    b"../../etc/passwd", b"..%2f..%2f", b"C:\\x", b"\\\\x\\y", b"javascript:alert(1)", b"//e.example",
    b"<script>alert(1)</script>", b"<img src=x onerror=alert(1)>", b"&#0;", b"]]>", b"<!--",
    b"[" * 2000, b"[a](" * 1000, b"> " * 400, b"- " * 300, b"`" * 500, b"(" * 3000, b"*_" * 800,
    b"a" * 5000, b"a " * 5000, b"\n" * 5000, b"=cmd|x", b"@x", b"a:" * 900, b"/" * 2000,
    b"(a+)+" + b"a" * 60 + b"!", b"0" * 3000 + b"x", b"1 " * 2500, b"-" * 3000, b"psi " * 900,
    b"low 58 hi 318", b"hi 1e9 psi low -400 psi", b"vent 61F -> 48F x2", b"hi 318 to 214 x99999999",
    b"batt 12.4 V; batt 12,4 V; batt .V", b"P0301 P0301* U3FFF B1ZZZ", b"no codes; P0420 pending",
    b"yes", b"no", b"on", b"none", b"None", b"null", b"true", b"J000001", b"S1", b"condenser_fan_dead",
    b"1HGCM82633A004352", b"2017 Pellarin Copse P20P", b"99999 x y", b"warm at lights, cold not",
)  # fmt: skip
ALL: Final = SIGNS + NUMBERS + TYPED
# Longer than any form may be, sent now and then.
HUGE: Final = (b"a", b"ab ", "é".encode(), b"[", b"<b>", b"%00", b"58 psi ", b"'", b"\xcc\x81")
HUGE_BYTES: Final = 1_000_000


def text(chance: random.Random) -> bytes:
    """Return a text that breaks programs, or two of them joined."""
    first = chance.choice(ALL)
    return first + chance.choice(ALL) if chance.random() < 0.25 else first


def changed(value: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """Return a text a little changed, of at most a megabyte: signs lost, doubled, turned, put in."""
    place = chance.randrange(len(value) + 1)
    before, after = value[:place], value[place:]
    times = chance.choice([2, 3, 40])
    made = chance.choice(
        (
            text(chance),
            before + text(chance) + after,
            before + after[chance.randrange(1, 4) :],
            before + bytes([chance.randrange(256)]) + after,
            before + chance.choice(others or (b"",)) + after,
            value[: HUGE_BYTES // times] * times,
            value.swapcase(),
        )
    )
    return made[:HUGE_BYTES]


def huge(chance: random.Random) -> bytes:
    """Return a text of a megabyte."""
    part = chance.choice(HUGE)
    return part * (HUGE_BYTES // len(part))
