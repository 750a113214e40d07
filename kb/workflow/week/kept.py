"""A review as text that is kept, with a seal that tells when it is not what was counted."""

import json
from collections.abc import Mapping
from hashlib import blake2s
from typing import Any, Final

# A kept review of another form is counted anew.
FORM: Final = 2
_SEAL: Final = "seal"


def kept_text(review: Mapping[str, Any]) -> str:
    """Return the JSON text of a review with its form and a seal over all of it."""
    body = {**review, "form": FORM}
    return json.dumps(body | {_SEAL: _seal(body)}, ensure_ascii=False)


def read_kept(text: str) -> dict[str, Any] | None:
    """Return the review that ``kept_text`` took; None where the text is damaged or of another form.

    Examples
    --------
    >>> text = kept_text({"jobs": 3})
    >>> read_kept(text)
    {'jobs': 3, 'form': 2}
    >>> read_kept(text.replace("3", "4")) is None
    True
    """
    try:
        body = json.loads(text)
        sealed = isinstance(body, dict) and body.pop(_SEAL, None) == _seal(body)
    except (ValueError, RecursionError):
        return None
    return body if sealed and body.get("form") == FORM else None


def _seal(body: Mapping[str, Any]) -> str:
    text = json.dumps(body, sort_keys=True)
    return blake2s(text.encode(), digest_size=16).hexdigest()
