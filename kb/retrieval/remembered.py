"""What was reckoned before, by what it follows from: all of it is let go once it is too much."""

from typing import TypeVar

Key = TypeVar("Key")
Value = TypeVar("Value")


class Remembered(dict[Key, Value]):
    """Values by key; ``get`` what is there, ``keep`` what had to be made.

    Parameters
    ----------
    most : int
        How many are held at once.
    """

    def __init__(self, most: int) -> None:
        super().__init__()
        self.most = most

    def keep(self, key: Key, value: Value) -> Value:
        """Hold a value and return it; where there would be too many, none of the others is held.

        Examples
        --------
        >>> known = Remembered[str, int](2)
        >>> known.keep("a", 1), known.keep("b", 2), known.keep("c", 3), dict(known)
        (1, 2, 3, {'c': 3})
        """
        if len(self) >= self.most:
            self.clear()
        self[key] = value
        return value
