"""The queries about people; every write about a person writes one line of history."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from sqlalchemy import bindparam, insert, select, update

from kb.errors import ConflictError, NotFoundError
from kb.store.asked import Asked
from kb.store.columns import LARGEST_ID, own_columns
from kb.store.journal import HistoryRepository, Pen
from kb.store.shop_tables import PersonRow

_ONE: Final = Asked(select(*own_columns(PersonRow)).where(PersonRow.id == bindparam("person")))


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredPerson:
    """Somebody of the shop; a hash is None until a password or PIN was chosen.

    ``totp_secret`` is None without a second factor; ``totp_step`` is the time step of the code
    that was taken last.
    """

    id: int
    name: str
    role: str
    password_hash: str | None = field(repr=False)
    pin_hash: str | None = field(repr=False)
    active: bool
    created: datetime
    totp_secret: str | None = field(default=None, repr=False)
    totp_step: int | None = None


class People:
    """The people of one unit of work."""

    def __init__(self, pen: Pen, history: HistoryRepository) -> None:
        self._pen = pen
        self._history = history

    def all(self) -> tuple[StoredPerson, ...]:
        """Return everybody, by name."""
        rows = self._pen.connection.execute(select(*own_columns(PersonRow))).mappings()
        people = (StoredPerson(**row) for row in rows)
        return tuple(sorted(people, key=lambda person: person.name.casefold()))

    def get(self, person_id: int) -> StoredPerson:
        """Return one person.

        Raises
        ------
        NotFoundError
            If there is no such person.
        """
        known = person_id <= LARGEST_ID
        rows = _ONE.named(self._pen.connection, person=person_id) if known else []
        if not rows:
            raise NotFoundError(
                f"expected a person of this shop, got number {person_id}; look at People"
            )
        return StoredPerson(**rows[0])

    def named(self, name: str) -> StoredPerson | None:
        """Return the person of that name in whatever case, None where there is none."""
        return next((row for row in self.all() if row.name.casefold() == name.casefold()), None)

    def add(
        self,
        name: str,
        role: str,
        *,
        password_hash: str | None = None,
        pin_hash: str | None = None,
    ) -> int:
        """Add a person and return the number.

        Raises
        ------
        ConflictError
            If the name is somebody's already, in whatever case.
        """
        if self.named(name) is not None:
            raise ConflictError(f"expected a name of its own, got {name}, who is there already")
        _, at = self._pen.require()
        row = {
            "name": name,
            "role": role,
            "password_hash": password_hash,
            "pin_hash": pin_hash,
            "active": True,
            "created": at,
        }
        query = insert(PersonRow).values(row).returning(PersonRow.id)
        person_id = self._pen.connection.scalars(query).one()
        self._history.add("person added", None, f"{name} as {role}")
        return person_id

    def set_role(self, person_id: int, role: str) -> None:
        """Give a person another role."""
        before = self.get(person_id)
        what = f"{before.name}: {before.role}, now {role}"
        self._change(person_id, verb="role", what=what, role=role)

    def set_active(self, person_id: int, *, active: bool) -> None:
        """Take a person out, or bring one back."""
        verb = "person brought back" if active else "person taken out"
        self._change(person_id, verb=verb, what=self.get(person_id).name, active=active)

    def set_hashes(
        self, person_id: int, *, password_hash: str | None = None, pin_hash: str | None = None
    ) -> None:
        """Set the hash of a password, of a PIN, or both; None leaves what is there."""
        given = {"password_hash": password_hash, "pin_hash": pin_hash}
        new = {column: value for column, value in given.items() if value is not None}
        words = {"password_hash": "password", "pin_hash": "PIN"}
        if new:
            verb = " and ".join(words[column] for column in new)
            self._change(person_id, verb=verb, what=self.get(person_id).name, **new)

    def set_code(self, person_id: int, *, secret: str | None, step: int | None) -> None:
        """Set the secret of one-time codes and the step of the code taken last; None ends them."""
        verb = "one-time code set up" if secret else "one-time code taken off"
        what = self.get(person_id).name
        self._change(person_id, verb=verb, what=what, totp_secret=secret, totp_step=step)

    def take_step(self, person_id: int, step: int) -> bool:
        """Take the code of a step; False where that one or a later one was taken before."""
        self._pen.require()
        fresh = PersonRow.totp_step.is_(None) | (PersonRow.totp_step < step)
        query = update(PersonRow).where((PersonRow.id == person_id) & fresh)
        return self._pen.connection.execute(query.values(totp_step=step)).rowcount == 1

    def _change(self, person_id: int, *, verb: str, what: str, **values: Any) -> None:
        self._pen.require()
        self._pen.connection.execute(
            update(PersonRow).where(PersonRow.id == person_id).values(**values)
        )
        self._history.add(verb, None, what)
