"""How far a closed job is trusted, and why."""

from typing import Final

from kb.case.model import Job, Origin, Standing

# Work that another shop did: a witness of causes, and nothing that happened here. One that was
# confirmed here is trusted as the shop's own.
ELSEWHERE: Final = frozenset({Origin.ANOTHER_SHOP, Origin.CONFIRMED_HERE})

# Strength of a proof method, strongest 5; common practice, no source.
_PROVEN_METHODS = {
    "seen": "the fault itself was seen",
    "measured_out": "a value on the part was out of its limit",
    "moved_with_part": "the fault moved with the part",
}


def standing_of(job: Job) -> Standing:
    """Return how far a closed job is trusted as a witness.

    Proven: seen, measured or moved with the part, or came and went and held since. Likely: came
    and went alone. Unproven: inferred only, or no proof. Overturned: a comeback showed it wrong.
    """
    return _judged(job)[0]


def standing_reason(job: Job) -> str:
    """Return why a closed job is trusted that far, as words that follow "because"."""
    return _judged(job)[1]


def _judged(job: Job) -> tuple[Standing, str]:
    closing = job.closing
    if closing is None:
        return Standing.UNPROVEN, "the job is still open"
    if closing.overturned_by or closing.end == "comeback_other":
        return Standing.OVERTURNED, "the car came back and the cause was another one"
    return _by_proof({proof.method for proof in closing.proofs}, held=closing.held)


def _by_proof(methods: set[str], *, held: bool) -> tuple[Standing, str]:
    shown = [why for method, why in _PROVEN_METHODS.items() if method in methods]
    if shown:
        return Standing.PROVEN, shown[0]
    if "came_and_went" in methods and held:
        return Standing.PROVEN, "it came and went with one action, and the repair has held since"
    if "came_and_went" in methods:
        why = "it came and went with one action, which finds the branch but not always the part"
        return Standing.LIKELY, why
    why = "the cause was only inferred from the rest" if methods else "no proof is written down"
    return Standing.UNPROVEN, why
