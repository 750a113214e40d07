"""The pages and the command line; everything they say comes from ``kb``.

``create_app`` makes the pages; its table of contents is ``web.site``.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flask import Flask


def create_app(settings: Mapping[str, Any]) -> "Flask":
    """Return the application.

    Parameters
    ----------
    settings : mapping
        ``HOME`` (folder), ``STORE_URL`` (database), perhaps ``ALTITUDE_M``, ``SECRET_KEY``,
        ``CLUSTER`` (address) with ``PARTS`` (number).
    """
    # The command line lives beside the pages and answers without them, a fifth of a second sooner.
    from web.site import make_site  # noqa: PLC0415 (start-up time)

    return make_site(settings)
