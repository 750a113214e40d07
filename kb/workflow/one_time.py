"""One-time codes as a second thing asked at sign-in: set up, checked, each taken once (RFC 6238)."""

import re
from dataclasses import dataclass, field
from datetime import datetime
from hmac import compare_digest
from typing import Final

import pyotp

from kb.errors import ParseError, SignInError
from kb.store.engine import Store
from kb.store.people import StoredPerson
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.sign_in import TRIES_A_NAME, Asked, Secret, refuse_too_many, tries_key

# Seconds that a code is shown, and digits of one: the defaults of RFC 6238 and of every program
# that shows codes.
STEP_S: Final = 30
_DIGITS: Final = re.compile(r"[0-9]{6}")
# Base 32 of 160 bits, the length that RFC 4226 (section 4, R6) recommends.
_SECRET: Final = re.compile(r"[A-Z2-7]{32}")
# Steps around the present one whose codes are taken: clocks of phones are off a little, and RFC
# 6238 (section 5.2) allows one for the way.
_OFF: Final = (0, -1, 1)
_WRONG: Final = (
    "expected the fresh one-time code of your phone, got another or one that was used; wait for "
    "the next one, or have baybook user no-code run on the machine"
)
_NONE: Final = (
    "expected the one-time code that your phone shows as well, got none; type it too and send the "
    "form again"
)
# Before codes are asked there is none to take off; a phone's clock is then the likeliest reason.
_NOT_YET: Final = (
    "expected the one-time code that your phone shows now, got another; wait for the next one, and "
    "if that is refused too, set the clocks of the phone and of the shop's machine right"
)


def new_secret() -> str:
    """Return a secret that a phone and the shop make the same codes of."""
    return pyotp.random_base32()


def is_secret(text: str) -> bool:
    """Tell whether a text is such as ``new_secret`` returns."""
    return _SECRET.fullmatch(text) is not None


def phone_address(secret: str, name: str) -> str:
    """Return what a phone reads to make the codes of ``secret``, an ``otpauth`` address."""
    return pyotp.TOTP(secret, interval=STEP_S).provisioning_uri(name=name, issuer_name="Baybook")


def step_of(secret: str, typed: str, at: datetime) -> int | None:
    """Return the time step whose code was typed, None where it is the code of no step near."""
    code = "".join(typed.split())
    if not _DIGITS.fullmatch(code):
        return None
    made = pyotp.TOTP(secret, interval=STEP_S)
    now = int(at.timestamp()) // STEP_S
    steps = (now + off for off in _OFF)
    return next((step for step in steps if compare_digest(made.generate_otp(step), code)), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Phone:
    """A secret that was offered to a phone, and the code that it then showed."""

    secret: str = field(repr=False)
    code: str = field(repr=False)


def set_up(
    unit: UnitOfWork, person_id: int, phone: Phone, *, at: datetime, keep_session: str = ""
) -> None:
    """Ask a person for codes of a phone from now on; other sessions and open links end.

    Parameters
    ----------
    phone : Phone
        The secret, with the code that proves that the phone has it.
    keep_session : str
        Hash of the token of the session that goes on.

    Raises
    ------
    ParseError
        If the secret is none that ``new_secret`` returns.
    SignInError
        If the code is another.
    """
    if not is_secret(phone.secret):
        raise ParseError("expected the secret of this page, got another; open the page anew")
    step = step_of(phone.secret, phone.code, at)
    if step is None:
        raise SignInError(_NOT_YET)
    unit.people.set_code(person_id, secret=phone.secret, step=step)
    unit.sessions.end_all_of(person_id, but=keep_session)
    unit.links.withdraw(person_id=person_id)


def check_code(store: Store, person: StoredPerson, asked: Asked, *, at: datetime) -> None:
    """Check the one-time code of somebody whose password, PIN or link was right.

    Wrong codes count apart from wrong passwords: only who knows one gets here, so that few wrong
    codes from everywhere stop all further ones for a while and yet no stranger can do that. Where
    none was typed there is no guess to count: it is asked for.

    Raises
    ------
    SignInError
        If a code is asked and none or another was typed, or one that was taken before.
    TooManyTriesError
        If too many were wrong.
    """
    if person.totp_secret is None:
        return
    key = tries_key(person.name, Secret.CODE)
    with store.write(person.name, at) as unit:
        refuse_too_many(unit, key, asked.address, everywhere=TRIES_A_NAME, at=at)
        if not asked.code.strip():
            raise SignInError(_NONE)
        unit.failed.add(key, asked.address)
    step = step_of(person.totp_secret, asked.code, at)
    with store.write(person.name, at) as unit:
        # Of two who send the same code at once, one is let in.
        if step is None or not unit.people.take_step(person.id, step):
            raise SignInError(_WRONG)
        unit.failed.forget(key, asked.address)
