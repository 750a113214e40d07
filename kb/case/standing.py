"""How far a closed job is trusted."""

from kb.case.model import Job, Standing

# Strength of a proof method, strongest 5; common practice, no source.
_PROVEN_METHODS = frozenset({"seen", "measured_out", "moved_with_part"})


def standing_of(job: Job) -> Standing:
    """Return how far a closed job is trusted as a witness.

    Proven: seen, measured or moved with the part, or came and went and held since. Likely: came
    and went alone. Unproven: inferred only, or no proof. Overturned: a comeback showed it wrong.
    """
    closing = job.closing
    if closing is None:
        return Standing.UNPROVEN
    if closing.overturned_by or closing.end == "comeback_other":
        return Standing.OVERTURNED
    methods = {proof.method for proof in closing.proofs}
    if methods & _PROVEN_METHODS or ("came_and_went" in methods and closing.held):
        return Standing.PROVEN
    return Standing.LIKELY if "came_and_went" in methods else Standing.UNPROVEN
