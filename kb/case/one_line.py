"""One line of typed text: single blanks, nothing that cannot be shown."""

import unicodedata


def one_line(typed: str) -> str:
    r"""Return a typed text as one line.

    Examples
    --------
    >>> one_line("  check the\n fan\x1b first ")
    'check the fan first'
    """
    text = " ".join(unicodedata.normalize("NFC", typed).split())
    return "".join(sign for sign in text if sign.isprintable())
