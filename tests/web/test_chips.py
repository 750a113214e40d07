import pytest

from kb.case.amend import CHANGES, pieces_of
from kb.case.model import (
    Change,
    Code,
    Finding,
    Phase,
    ReadingSet,
    Response,
    Scan,
    Symptom,
    Tried,
)
from kb.case.terms import load_vocabulary
from kb.errors import LimitError
from kb.workflow.corrections import Correction, corrected
from tests.factories import a_job, a_reading
from web.chips import chip_of
from web.piece_groups import groups_of

WORDS = load_vocabulary()
JOB = a_job(
    symptoms=(
        Symptom(text="grinds cold", concept="starter_grinds", conditions=("cranking",),
                not_conditions=("engine_hot",)),
        Symptom(text="odd"),
    ),
    reading_sets=(
        ReadingSet(readings=(a_reading(), a_reading("high_side_pressure", "318", "psi"))),
        ReadingSet(phase=Phase.AFTER, readings=(a_reading("compression", "170", "psi"),)),
        ReadingSet(readings=(a_reading("ambient_temp", "91"),)),
    ),
    codes=(Code(code="P0301", module="engine", status="stored"),),
    scan=Scan(none_found=True, modules=("engine",)),
    findings=(
        Finding(check="coil_swap", outcome="fault_moved", subject="2 to 3", repeats=2, minutes=10,
                responses=(Response(change=Change.MOVED),)),
    ),
    tried=(Tried(part="alternator", text="new, same"),),
)  # fmt: skip


def chips():
    return [chip_of(row, WORDS) for group in groups_of(JOB, WORDS) for row in group.pieces]


def test_every_piece_of_the_job_is_one_chip_with_a_name_of_its_own():
    kinds = {kind: len(pieces_of(JOB, kind)) for kind in CHANGES}
    found = [chip.id for chip in chips()]
    assert sorted(found) == sorted(f"{kind}-{at}" for kind, n in kinds.items() for at in range(n))


def test_readings_stand_together_by_when_they_were_taken():
    titles = [group.title for group in groups_of(JOB, WORDS) if "Readings" in group.title]
    assert titles == ["Readings, as found", "Readings, after the repair"]


@pytest.mark.parametrize(
    ("id_", "says"),
    [
        ("reading-1", "318 psi"),
        ("finding-0", "(2 to 3): fault moved, 2 times, 10 min"),
        ("response-0", ": moved"),
        ("code-0", "P0301 engine stored"),
        ("scan-0", "Scanned, none found (engine)"),
        ("tried-0", "alternator: new, same"),
        ("symptom-1", "odd"),
    ],
)
def test_a_chip_says_what_was_understood(id_, says):
    (chip,) = [chip for chip in chips() if chip.id == id_]
    assert says in chip.says


def test_every_tap_is_a_change_that_the_job_takes_or_refuses_by_its_limits():
    for chip in chips():
        for tap in (tap for taps in chip.taps for tap in taps.rows):
            wish = Correction(
                kind=chip.kind, index=chip.index, what=tap.what, value=tap.value, seen=chip.seen
            )
            try:
                assert corrected(JOB, wish, words=WORDS) != JOB, tap
            except LimitError:
                assert tap.what == "unit"


def test_every_box_is_a_change_that_the_job_knows():
    for chip in chips():
        assert {box.what for box in chip.boxes} <= set(CHANGES[chip.kind])
        assert all(chip.taps)


def test_a_condition_offers_the_contrary_none_and_its_family():
    (chip,) = [chip for chip in chips() if chip.id == "symptom-0"]
    taps = {tap.value: tap.label for group in chip.taps for tap in group.rows}
    assert taps["cranking"] in {"Not while cranking", "Nothing said of it"}
    assert taps["engine_hot>engine_cold"] == "when cold instead"
    assert any(group.title == "Not when hot" for group in chip.taps)
