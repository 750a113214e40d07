"""Vehicle identification numbers: cleaned, and doubted where they cannot be right; never refused.

ISO 3779 gives length and letters, 49 CFR 565 the check digit of vehicles made for North America.
"""

from typing import Final

LENGTH: Final = 17
# ISO 3779: digits and letters without I, O and Q.
_FORBIDDEN: Final = {"I": "1", "O": "0", "Q": "0"}
# 49 CFR 565.15(c), tables III and IV.
_VALUES: Final = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
# First characters of makers of North America; elsewhere position 9 may hold anything.
_CHECKED: Final = frozenset("123457")


def clean_vin(text: str) -> str:
    """Return a typed VIN in capitals without blanks and dashes."""
    return "".join(char for char in text.upper() if char.isalnum())


def check_digit(vin: str) -> str:
    """Return the digit (or X) that 49 CFR 565 wants at position 9 of a VIN of 17 characters.

    Examples
    --------
    >>> check_digit("11111111111111111")
    '1'
    """
    total = sum(_VALUES[char] * weight for char, weight in zip(vin, _WEIGHTS, strict=True))
    return "X" if total % 11 == 10 else str(total % 11)


def vin_doubt(vin: str) -> str | None:
    """Return why a cleaned VIN can hardly be right and what to look at; None where it can be."""
    if len(vin) != LENGTH:
        return f"expected a VIN of {LENGTH} characters, got {len(vin)}; count them again"
    wrong = sorted({char for char in vin if char not in _VALUES})
    if wrong:
        meant = "".join(_FORBIDDEN.get(char, char) for char in vin)
        return (
            f"expected digits and letters without I, O, Q, got {', '.join(wrong)}; is it {meant}?"
        )
    if vin[0] in _CHECKED and vin[8] != (wanted := check_digit(vin)):
        return (
            f"expected {wanted} at place 9 of the VIN, got {vin[8]}: one character is likely "
            "mistyped; look at the plate again"
        )
    return None
