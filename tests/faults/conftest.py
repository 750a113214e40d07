"""The shop of the tests of the pages, for faults that strike it."""

from tests.web.conftest import site

__all__ = ["site"]
