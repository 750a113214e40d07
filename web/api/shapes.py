"""What every value of the API has in common: no coercion, no unknown names, bounds everywhere."""

from typing import Annotated, Final

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from kb.workflow.entries import MAX_WORDS
from kb.workflow.jobs import MAX_TEXT

# Texts as everywhere in the shop: anything but the one sign that no database keeps.
_KEPT: Final = r"^[^\x00]*$"
Typed = Annotated[str, StringConstraints(max_length=MAX_TEXT, pattern=_KEPT)]
Words = Annotated[str, StringConstraints(max_length=MAX_WORDS, pattern=_KEPT)]
# A key of the vocabulary (our choice of the length; the longest that ships has some 40).
Key = Annotated[str, StringConstraints(min_length=1, max_length=100, pattern=_KEPT)]
# What a job or an invoice is called by; longer ones are no numbers of a shop (our choice).
Name = Annotated[str, StringConstraints(min_length=1, max_length=60, pattern=r"^\S(.*\S)?$")]
PhotoHash = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
# What an integer column holds everywhere.
Cents = Annotated[int, Field(ge=0, le=2**31 - 1)]
# Larger numbers are no readings; those of a quantity are bounded again by its hard limits.
Number = Annotated[float, Field(ge=-1e9, le=1e9)]


class Asked(BaseModel):
    """What a program sends: taken as it stands or refused."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


class Told(BaseModel):
    """What a program is told; made of the shop's own values by the names of their attributes."""

    model_config = ConfigDict(from_attributes=True, extra="forbid", frozen=True)
