from datetime import date

from kb.case.model import (
    Closing,
    Code,
    Complaint,
    Finding,
    Job,
    Phase,
    Polarity,
    ReadingSet,
    Response,
    Scan,
    Symptom,
    Vehicle,
)
from kb.case.terms import load_vocabulary
from kb.retrieval.features import case_features, case_tokens, finding_token
from tests.factories import a_job, a_reading

WORDS = load_vocabulary()


def features(**parts):
    return case_features(Job(id="J1", opened=date(2026, 1, 5), **parts), WORDS)


def tokens(**parts):
    return {(t.part, t.field, t.value) for t in features(**parts).tokens}


def test_an_empty_job_has_no_evidence():
    made = features()
    assert (made.said, made.told, made.tokens, made.measures) == ("", "", (), ())


def test_a_symptom_seen_and_one_looked_for_in_vain_conflict_on_one_field():
    seen = tokens(symptoms=(Symptom(text="", concept="no_crank"),))
    vain = tokens(symptoms=(Symptom(text="", concept="no_crank", polarity=Polarity.NO),))
    assert ("symptom", "no_crank|", "yes") in seen
    assert ("symptom", "no_crank|", "no") in vain


def test_swapped_conditions_share_no_token():
    there = tokens(lines=("cold on the road, warm in traffic",))
    back = tokens(lines=("warm on the road, cold in traffic",))
    assert there
    assert not there & back


def test_a_finding_is_known_by_check_subject_and_outcome():
    row = Finding(check="coil_swap", subject="Cylinder 3", outcome="fault_moved")
    token = finding_token(row, WORDS)
    assert token is not None
    assert (token.field, token.value) == ("coil_swap|cylinder 3", "fault_moved")
    assert token.what == f"{WORDS.check_name('coil_swap')} (cylinder 3): fault moved"


def test_a_check_that_told_nothing_is_no_evidence():
    assert finding_token(Finding(check="coil_swap", outcome="unclear"), WORDS) is None
    assert finding_token(Finding(check="coil_swap", outcome="not_done"), WORDS) is None


def test_no_codes_and_codes_conflict():
    none = tokens(scan=Scan(none_found=True))
    some = tokens(codes=(Code(code="P0301"),))
    assert ("scan", "scan", "no codes") in none
    assert {("code", "code|P0301", "stored"), ("scan", "scan", "codes stored")} <= some


def test_only_readings_as_found_are_compared():
    before = ReadingSet(readings=(a_reading("vent_temp", "61"),))
    after = ReadingSet(phase=Phase.AFTER, readings=(a_reading("vent_temp", "44"),))
    made = features(reading_sets=(before, after))
    assert [m.value for m in made.measures if m.key == "vent_temp"] == [
        before.readings[0].canonical
    ]


def test_a_response_counts_as_a_difference():
    response = Response(
        quantity="high_side_pressure",
        before_typed="318",
        after_typed="214",
        unit="psi",
        before=2192.5,
        after=1475.5,
    )
    row = Finding(check="condenser_air_boost", outcome="unclear", responses=(response,))
    (measure,) = features(findings=(row,)).measures
    assert measure.value == 1475.5 - 2192.5
    assert "condenser_air_boost" in measure.key


def test_derived_readings_are_measures_of_their_own():
    rows = (a_reading("vent_temp", "96"), a_reading("ambient_temp", "84"))
    made = features(reading_sets=(ReadingSet(readings=rows),))
    over = [m.value for m in made.measures if m.key == "= vent_over_ambient"]
    assert [round(value, 2) for value in over] == [6.67]


def test_the_unit_in_which_a_reading_was_typed_changes_nothing():
    fahrenheit = features(reading_sets=(ReadingSet(readings=(a_reading("vent_temp", "50"),)),))
    celsius = features(reading_sets=(ReadingSet(readings=(a_reading("vent_temp", "10", "degC"),)),))
    assert fahrenheit.measures[0].value == celsius.measures[0].value


def test_what_came_in_and_what_was_found_are_two_texts():
    made = features(
        complaint=Complaint(said="It hums."),
        lines=("hum at 60",),
        findings=(Finding(check="coil_swap", outcome="unclear", note="bearing rough"),),
        closing=Closing(closed=date(2026, 1, 6), end="fixed", lesson="spin it by hand"),
    )
    assert made.said == "It hums.\nhum at 60"
    assert made.told == "bearing rough\nspin it by hand"


def test_the_vehicle_is_a_hint_by_make_model_and_engine():
    got = tokens(vehicle=Vehicle(make="Pellarin", model="Copse", engine="P20P"))
    assert {field for part, field, _ in got if part == "vehicle"} == {
        "make|pellarin",
        "model|copse",
        "engine|p20p",
    }


def test_of_several_places_the_most_unusual_reading_counts():
    rows = tuple(
        a_reading("compression", v, "psi", f"cylinder {i}")
        for i, v in enumerate(("178", "95", "172"), 1)
    )
    made = features(reading_sets=(ReadingSet(readings=rows),))
    assert [m.value for m in made.measures if m.key == "compression"] == [rows[1].canonical]


def test_what_a_repair_cost_is_no_closed_field_to_learn():
    made = features(
        fields=(("component", "Hose;Boom"), ("cost", "183.05")),
        closing=Closing(closed=date(2026, 1, 6), end="fixed"),
    )
    assert made.labels == (("component", "Hose"), ("component", "Boom"))


def test_a_bar_in_a_place_that_was_typed_is_part_of_the_place():
    symptom = Symptom(text="", concept="brake_pulls", position="left|right|")
    found = case_tokens(a_job(symptoms=(symptom,)), WORDS)
    assert "brake_pulls|at:left|right|" in {token.field for token in found}
