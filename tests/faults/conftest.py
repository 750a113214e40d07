"""The shop of the tests of the pages, and a plain one, for faults that strike them."""

from tests.kb.workflow.conftest import shop
from tests.web.conftest import site

__all__ = ["shop", "site"]
