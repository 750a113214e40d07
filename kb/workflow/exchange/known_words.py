"""The words by which the jobs of an export are read: the shop's, and those of the export."""

from kb.case.shop_rows import ShopTerm
from kb.case.shop_words import with_shop_terms
from kb.case.terms import Vocabulary, load_vocabulary
from kb.store.unit_of_work import UnitOfWork


class KnownWords:
    """The trade's words with those of the shop and of an export laid over them.

    Parameters
    ----------
    unit : UnitOfWork
        Holds the words of the shop.
    """

    def __init__(self, unit: UnitOfWork) -> None:
        self._terms = list(unit.terms.rows())
        self._words: Vocabulary | None = None

    def add(self, term: ShopTerm) -> None:
        """Take a word of the export."""
        self._terms.append(term)
        self._words = None

    def read(self) -> Vocabulary:
        """Return the vocabulary.

        Raises
        ------
        VocabularyError
            If words of the export and of the shop contradict each other.
        """
        if self._words is None:
            self._words = with_shop_terms(load_vocabulary(), self._terms)
        return self._words
