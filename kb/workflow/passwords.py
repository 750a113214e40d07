"""Names, passwords and PINs: what may be chosen, and how a secret is hashed and checked."""

import unicodedata
from functools import cached_property
from typing import Final

# Length of a name, a password, a PIN (our choice; OWASP ASVS 5.0, 6.2.1, recommends more than 8).
NAME_MAX: Final = 60
PASSWORD_MIN: Final = 12
PASSWORD_MAX: Final = 200
PIN_MIN: Final = 4
PIN_MAX: Final = 8
# How hard to guess a password is, from 0 to 4 as zxcvbn counts: 3 is more than 10**8 tries by who
# knows common passwords, words, names, dates and keyboards. A copied database is no good then.
_HARD: Final = 3
# zxcvbn takes no more characters, and more would only be harder.
_WEIGHED: Final = 72


def clean_name(typed: str) -> str:
    """Return a typed name with single blanks and letters in one form."""
    return " ".join(unicodedata.normalize("NFC", typed).split())


def name_problem(typed: str) -> str | None:
    """Say what is wrong with a typed name, None where nothing is."""
    name = clean_name(typed)
    if not name:
        return "expected a name, got nothing; type the name that the others know"
    if len(name) > NAME_MAX:
        return f"expected at most {NAME_MAX} characters, got {len(name)}; shorten the name"
    if any(unicodedata.category(letter).startswith("C") for letter in name):
        return "expected letters that can be seen, got one that cannot; type the name anew"
    return None


def password_problem(typed: str, *, name: str = "") -> str | None:
    """Say what is wrong with a chosen password, None where nothing is; never repeats it.

    Parameters
    ----------
    name : str
        Whose it is to be; it counts as known to who guesses.
    """
    if not PASSWORD_MIN <= len(typed) <= PASSWORD_MAX:
        return (
            f"expected a password of {PASSWORD_MIN} to {PASSWORD_MAX} characters, got "
            f"{len(typed)}; three or four words in a row are easy to keep"
        )
    if _easy(typed, name):
        return (
            "expected a password that is hard to guess, got one of common words, names, dates or "
            "keys in a row; three or four words that do not belong together are easy to keep"
        )
    return None


def _easy(typed: str, name: str) -> bool:
    # A command that asks for no password starts a twentieth of a second sooner.
    from zxcvbn import zxcvbn  # noqa: PLC0415 (start-up time)

    words = clean_name(name).split()
    known = {" ".join(words), "".join(words), *words, "baybook"} - {""}
    weighed = zxcvbn(typed[:_WEIGHED], user_inputs=sorted(known))
    return bool(weighed["score"] < _HARD)


def pin_problem(typed: str) -> str | None:
    """Say what is wrong with a chosen PIN, None where nothing is; never repeats it."""
    if not (typed.isascii() and typed.isdigit()):
        return f"expected {PIN_MIN} to {PIN_MAX} digits, got something else; type digits only"
    if not PIN_MIN <= len(typed) <= PIN_MAX:
        return f"expected {PIN_MIN} to {PIN_MAX} digits, got {len(typed)}; choose another PIN"
    return None


class Hasher:
    """Hashes secrets with Argon2id (RFC 9106); the library's own parameters unless told otherwise.

    Parameters
    ----------
    rounds, memory_kib, lanes : int
        Time, memory and parallel lanes of one hash.
    """

    def __init__(self, *, rounds: int = 3, memory_kib: int = 65_536, lanes: int = 4) -> None:
        # A command that hashes nothing starts a fiftieth of a second sooner.
        from argon2 import PasswordHasher  # noqa: PLC0415 (start-up time)

        self._argon2 = PasswordHasher(time_cost=rounds, memory_cost=memory_kib, parallelism=lanes)

    @cached_property
    def _of_nobody(self) -> str:
        return self._argon2.hash("nobody's")

    def hash(self, secret: str) -> str:
        """Return the hash of a secret, with its salt and parameters."""
        return self._argon2.hash(unicodedata.normalize("NFC", secret))

    def matches(self, stored: str | None, typed: str) -> bool:
        """Say whether ``typed`` is the secret; takes as long where there is none to compare."""
        from argon2.exceptions import (  # noqa: PLC0415 (start-up time)
            InvalidHashError,
            VerificationError,
        )

        of_nobody = self._of_nobody
        try:
            self._argon2.verify(
                stored or of_nobody, unicodedata.normalize("NFC", typed[:PASSWORD_MAX])
            )
        except (VerificationError, InvalidHashError):
            return False
        return stored is not None
