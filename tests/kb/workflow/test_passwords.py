import pytest

from kb.workflow.passwords import (
    Hasher,
    clean_name,
    name_problem,
    password_problem,
    pin_problem,
)

QUICK = Hasher(rounds=1, memory_kib=8, lanes=1)


@pytest.mark.parametrize("name", ["Ines", "Åse Ø.", "O'Hara", "李", "<b>x</b>"])
def test_names_of_all_kinds_can_be_one(name):
    assert name_problem(name) is None


@pytest.mark.parametrize("name", ["", "  ", "x" * 61, "In\x00es", "In\u200bes", "\u202eseni"])
def test_a_name_that_cannot_be_seen_or_is_too_long_is_refused(name):
    assert (name_problem(name) or "").startswith("expected")


def test_a_name_has_single_blanks_and_one_form_of_letters():
    assert clean_name("  A\u030ase \n Holm ") == "Åse Holm"


@pytest.mark.parametrize(("password", "good"), [("wet lamp in", False), ("wet lamp ink", True),
                                                ("wet lamp ink " * 15, True),
                                                ("wet lamp ink " * 16, False)])  # fmt: skip
def test_a_password_has_twelve_to_two_hundred_characters(password, good):
    problem = password_problem(password)
    assert (problem is None) is good
    assert "lamp" not in (problem or "")


@pytest.mark.source("OWASP ASVS 5.0", "6.2.4 common passwords, 6.2.11 words of the context")
@pytest.mark.parametrize(
    "password",
    [
        "xxxxxxxxxxxx", "password1234", "P@ssw0rd!2024", "123456789012", "qwertyuiop12",
        "1qaz2wsx3edc", "michaeljackson", "baybook 2026", "Ines Holm 1234", "inesholm1999",
        "abababababab" * 6,
    ],
)  # fmt: skip
def test_a_password_that_is_tried_early_is_refused(password):
    problem = password_problem(password, name="Ines Holm")
    assert "hard to guess" in (problem or "")
    assert password not in (problem or "")


@pytest.mark.parametrize("password", ["shop rain lamp", "wet clutch bearing", "x7#Kq2!vLm9p"])
def test_words_that_do_not_belong_together_are_a_password(password):
    assert password_problem(password, name="Ines Holm") is None


@pytest.mark.parametrize(("pin", "good"), [("123", False), ("1234", True), ("12345678", True),
                                           ("123456789", False), ("12a4", False), ("", False),
                                           ("١٢٣٤", False)])  # fmt: skip
def test_a_pin_has_four_to_eight_digits(pin, good):
    assert (pin_problem(pin) is None) is good


def test_a_secret_is_kept_as_a_hash_of_its_own():
    one, two = QUICK.hash("shop rain lamp"), QUICK.hash("shop rain lamp")
    assert one != two
    assert "rain" not in one
    assert QUICK.matches(one, "shop rain lamp")
    assert not QUICK.matches(one, "shop rain lam")


@pytest.mark.source("RFC 9106", "section 3.1, the type is Argon2id (2), version 0x13 = 19")
def test_the_hash_is_argon2id():
    assert QUICK.hash("shop rain lamp").startswith("$argon2id$v=19$m=8,t=1,p=1$")


@pytest.mark.source("RFC 9106", "section 4, second recommended option: t=3, p=4, m=2^16 (64 MiB)")
def test_what_a_shop_uses_is_a_recommended_choice():
    assert Hasher().hash("x").startswith("$argon2id$v=19$m=65536,t=3,p=4$")


def test_letters_typed_in_two_forms_are_one_password():
    assert QUICK.matches(QUICK.hash("r\u00e5st og rost"), "ra\u030ast og rost")


def test_nothing_matches_where_nothing_is_stored_or_it_is_no_hash():
    assert not QUICK.matches(None, "nobody's")
    assert not QUICK.matches("plain", "plain")


def test_an_unknown_name_costs_a_hash_as_well(monkeypatch):
    seen = []
    real = QUICK._argon2.verify

    class Watched:
        def verify(self, stored, typed):
            seen.append(stored)
            return real(stored, typed)

    watched = Hasher(rounds=1, memory_kib=8, lanes=1)
    of_nobody = watched._of_nobody
    monkeypatch.setattr(watched, "_argon2", Watched())
    watched.matches(None, "x")
    watched.matches(QUICK.hash("y"), "x")
    assert seen[0] == of_nobody
    assert len(seen) == 2
