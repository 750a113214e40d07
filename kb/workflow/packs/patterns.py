"""What names a customer, a car or a price in typed text: one pattern a kind, strictest first.

Patterns are our own, from common ways of writing; what is no pattern (a first name alone) is not
found. Each begins at a border, so that a long text is read once. Better a word too many is blanked
than one too few: whoever sends sees each before it goes.
"""

import re
from collections.abc import Callable
from typing import Final, NamedTuple

from kb.case.units import UNITS
from kb.case.vin import LENGTH, check_digit

# Digits that a run of 17 signs must have to be read as a VIN, and one with blanks in it (our
# choice; a VIN ends in at least four digits).
_LEAST_DIGITS: Final = 4
_LEAST_SPACED: Final = 7
_VIN_SIGN: Final = "[A-HJ-NPR-Z0-9]"


class Pattern(NamedTuple):
    """A kind with its pattern; group "it" is what is blanked, where there is one.

    ``check`` gets what was found and what follows it; None takes all.
    """

    kind: str
    regex: re.Pattern[str]
    check: Callable[[str, str], bool] | None = None


def _digits(text: str) -> int:
    return sum(sign.isdigit() for sign in text)


def _is_vin(found: str, after: str) -> bool:
    del after
    vin = re.sub(r"[ -]", "", found).upper()
    if len(vin) == len(found):
        return _digits(vin) >= _LEAST_DIGITS
    return len(vin) == LENGTH and _digits(vin) >= _LEAST_SPACED and check_digit(vin) == vin[8]


def _is_no_range(found: str, after: str) -> bool:
    """Say whether two numbers with a dash are no range of a reading: no unit stands behind."""
    del found
    word = re.match(r"\s?([^\W\d_]+|%|°)", after)
    return word is None or word[1].lower() not in _UNIT_WORDS


def _is_plate(found: str, after: str) -> bool:
    del after
    letters = "".join(sign for sign in found if sign.isalpha()).lower()
    return letters not in _UNIT_WORDS and bool(_digits(found))


def _is_code(found: str, after: str) -> bool:
    """Say whether a run of letters and digits is long enough in both to be somebody's number."""
    del after
    return _digits(found) >= _LEAST_DIGITS and any(sign.isalpha() for sign in found)


# Abbreviations with which numbers of a reading end, beside the units themselves; common practice.
_UNIT_WORDS: Final = frozenset(
    {name.lower() for name in UNITS}
    | {"°", "%", "rpm", "psi", "kpa", "bar", "ohm", "ohms", "volt", "volts", "amp", "amps", "deg"}
    | {"mm", "miles", "mi", "km", "hz", "ms", "sec", "min", "counts", "ppm", "kohm", "mohm", "mv"}
)
_STREETS: Final = (
    "Street|St|Road|Rd|Avenue|Ave|Lane|Ln|Drive|Dr|Boulevard|Blvd|Court|Ct|Way|Highway|Hwy|"
    "Place|Pl|Terrace|Close|Crescent"
)
_MONEY: Final = r"(?:USD|EUR|GBP|CAD|AUD|dollars?|bucks|euros?)\b"
_NUMBER: Final = r"\d[\d.,]*"
_HINT_END: Final = r"\b\.?\W{0,3}(?:(?:no|nr|num|number|is)\b\.?\W{0,3})?"


def _made(kind: str, text: str, check: Callable[[str, str], bool] | None = None) -> Pattern:
    return Pattern(kind, re.compile(text), check)


# The order matters: what one pattern took, the next ones do not see.
PATTERNS: Final[tuple[Pattern, ...]] = (
    _made("e-mail address", r"(?<![\w.+-])[\w.+-]{1,64}\s?(?:@|[(\[]at[)\]])\s?[\w-]+(?:\.[\w-]+)+"),
    _made("web address", r"(?i)(?<!\w)(?:https?://|www\.)\S+"),
    _made("VIN", rf"(?i)(?<![a-z0-9]){_VIN_SIGN}(?:[ -]?{_VIN_SIGN}){{16}}(?![a-z0-9])", _is_vin),
    _made("VIN", r"(?i)\bVIN\b[^\w\n]{0,3}(?:(?:no|number|is|ends?|in|last|\d)\b[^\w\n]{0,3}){0,4}"
          r"(?P<it>[A-Z0-9]{4,17})(?!\w)", _is_plate),
    _made("price", rf"[$€£¥]\s?{_NUMBER}|(?<![\w.]){_NUMBER}\s?(?:[$€£¥]|{_MONEY})|"
          rf"(?<!\w){_MONEY}\s?{_NUMBER}"),
    _made("price", r"(?i)(?<!\w)(?:costs?|priced?|paid|quoted?|billed)\b\D{0,12}?(?P<it>\d[\d.,]*)"),
    _made("invoice number", r"(?<!\w)(?:(?i:invoice|inv|repair order|work order|estimate|ticket|"
          rf"receipt)|RO|WO){_HINT_END}#?(?P<it>[A-Za-z]{{0,4}}-?\d[\w-]+)"),
    _made("invoice number", r"(?<!\w)#\s?(?P<it>\d{4,})(?!\w)"),
    _made("job number", r"(?<!\w)J\d{6}(?!\w)"),
    _made("phone number", r"(?<![\w+])\+\d[\d ().-]{6,18}\d(?!\w)"),
    _made("phone number", r"(?i)(?<!\w)(?:tel|phone|cell|mobile|call(?:ed)?|text(?:ed)?|ring)\b"
          r"\D{0,12}(?P<it>\d[\d ().-]{4,18}\d)(?!\w)"),
    _made("phone number", r"(?<![\w.])\(?[2-9]\d{2}\)?[ .-]{1,2}\d{3}[ .-]\d{4}(?!\w)"),
    _made("phone number", r"(?<![\w.-])0\d{2,4}[ /-]\d{5,8}(?!\w)"),
    _made("phone number", r"(?<![\w.-])\d{3}-\d{4}(?![\w-])", _is_no_range),
    _made("address", rf"(?<!\w)\d{{1,5}}\s(?:[A-Z][\w.'’-]*\s){{1,3}}(?:{_STREETS})\b\.?"),
    _made("address", r"(?i)(?<!\w)\d{1,5}\s(?:[a-z][\w.'’-]*\s){1,2}(?:street|avenue|boulevard)\b"),
    _made("address", r"(?i)(?<!\w)p\.?\s?o\.?\s?box\s\d+"),
    _made("address", r"(?<!\w)[A-Z]{2}\s\d{5}(?:-\d{4})?(?!\w)|"
          r"(?<!\w)[A-Z]{1,2}\d[A-Z\d]?\s\d[A-Z]{2}(?!\w)", _is_plate),
    _made("plate", r"(?i)(?<!\w)(?:licen[cs]e|number)\splates?" + _HINT_END +
          r"(?P<it>[a-z0-9]{2,4}[ -]?[a-z0-9]{2,4})(?!\w)", _is_plate),
    _made("plate", r"(?<!\w)(?:[Pp]lates?|PLATES?|[Tt]ag|TAG|[Rr]eg(?:istration|o)?|REG)" + _HINT_END
          + r"(?P<it>[A-Z0-9]{2,4}[ -]?[A-Z0-9]{2,4})(?!\w)", _is_plate),
    _made("plate", r"(?<![\w-])(?:[A-Z]{3}-?\d{3,4}|\d[A-Z]{3}\d{3}|[A-Z]{2}\d{2}\s?[A-Z]{3}|"
          r"\d{3}-?[A-Z]{3}|[A-Z]{1,3}-[A-Z]{1,2}\s?\d{1,4})(?![\w-])", _is_plate),
    _made("long number", r"(?<![\w.])\d{7,}(?![\w]|\.\d)"),
    _made("long number", r"(?<![\w.])[A-Za-z0-9]{10,}(?!\w)", _is_code),
)  # fmt: skip

# A name behind a title, and behind a word for somebody; the second is asked of the trade's words.
TITLED: Final = re.compile(
    r"(?<!\w)(?:(?i:mrs?)|Ms|Miss|Mx|Dr|Herr|Frau)\b\.?\s+"
    r"(?P<it>[^\W\d_][\w'’-]+(?:\s+[A-Z][\w'’-]+)?)"
)
NAMED: Final = re.compile(
    r"(?<!\w)(?i:customer|client|owner|driver|wife|husband|son|daughter|lady|told|asked|"
    r"spoke\s(?:to|with)|call(?:ed)?|phoned|rang|texted|per|named|name\sis|name:|i\sam|this\sis)\s+"
    r"(?P<it>[A-Z][a-z'’-]+(?:\s+[A-Z][a-z'’-]+)?)(?!\w)"
)
