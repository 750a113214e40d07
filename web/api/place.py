"""Where the API lies, and what is part of it."""

from typing import Final

PREFIX: Final = "/api/v1"
NAME: Final = "api"


def is_api(endpoint: str | None) -> bool:
    """Say whether a route is the API's: it lets programs in by itself and knows no cookie."""
    return endpoint is not None and endpoint.startswith(f"{NAME}.")


def is_below(path: str) -> bool:
    """Say whether an address lies below the API's, also where no route does."""
    return path == PREFIX or path.startswith(f"{PREFIX}/")
