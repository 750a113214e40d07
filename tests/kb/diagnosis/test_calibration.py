from kb.diagnosis.calibration import SHIPPED, Calibration, from_numbers


def test_numbers_come_back_as_they_went():
    made = Calibration(
        temper=0.9, vote=0.2, other=-3.0, least_other=0.01, tried=412,
        weights={"reading low": 1.2, "text": 0.4}, novelty=(0.5, -1.25, 0.0),
    )  # fmt: skip
    assert from_numbers(made.as_numbers()) == made


def test_no_numbers_are_the_shipped_ones():
    assert from_numbers({}) == SHIPPED


def test_a_part_without_a_weight_of_its_own_has_the_common_one():
    made = Calibration(temper=0.9, weights={"text": 0.4})
    assert (made.weight("text"), made.weight("reading low")) == (0.4, 0.9)
