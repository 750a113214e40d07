import pytest

from kb.case.vin import check_digit, clean_vin, vin_doubt

VALID = ("5ZZTR2P59GA004217", "4ZYDK41267B118036", "5ZZWB3A4XHC020312", "11111111111111111")


@pytest.mark.source("49 CFR 565", "check digit: 17 ones pass; weights and values of its tables")
@pytest.mark.parametrize("vin", VALID)
def test_a_number_with_its_own_check_digit_is_not_doubted(vin):
    assert check_digit(vin) == vin[8]
    assert vin_doubt(vin) is None


@pytest.mark.source("49 CFR 565", "check digit by hand: sum 394, remainder 9")
def test_another_digit_at_place_9_is_doubted_with_the_one_expected():
    doubt = vin_doubt("5ZZTR2P58GA004217")
    assert doubt is not None
    assert doubt.startswith("expected 9 at place 9 of the VIN, got 8")


@pytest.mark.source("49 CFR 565", "single errors escape only between characters of equal value")
def test_single_errors_are_caught_but_for_letters_of_equal_value():
    vin, letters = VALID[0], "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
    others = [
        vin[:at] + char + vin[at + 1 :]
        for at in range(1, 17)
        for char in letters
        if char != vin[at] and at != 8
    ]
    escaped = [other for other in others if vin_doubt(other) is None]
    assert 0.05 < len(escaped) / len(others) < 0.1


def test_a_vehicle_from_elsewhere_needs_no_check_digit():
    assert vin_doubt("WZZTR2P58GA004217") is None
    assert vin_doubt("7ZZTR2P58GA004217") is not None


@pytest.mark.source("ISO 3779", "17 characters, letters without I, O, Q; from memory")
@pytest.mark.parametrize(
    ("vin", "said"),
    [
        ("5ZZTR2P59GA00421", "17 characters, got 16"),
        ("5ZZTR2P59GAOO4217", "is it 5ZZTR2P59GA004217?"),
        ("5ZZTR2P59GAÄ04217", "got Ä"),
    ],
)
def test_length_and_letters_are_doubted_in_plain_words(vin, said):
    assert said in str(vin_doubt(vin))


def test_a_typed_number_is_cleaned_of_blanks_and_dashes():
    assert clean_vin(" 5zz-tr2p5 9ga004217 ") == VALID[0]
    assert clean_vin("--") == ""
