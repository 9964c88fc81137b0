"""What is worn in a try-on, by id: a shoe, with an insole, or the customer's own shoe."""

from __future__ import annotations

from recommend.match.shortlist import Candidate
from recommend.match.wishes import NO_INSOLE, OWN_INSOLE, OWN_SHOES

OWN = "own"  # the shoe the customer came in: no product of the catalogue
_AS_WORN = {OWN_SHOES: OWN, OWN_INSOLE: OWN, NO_INSOLE: ""}


def step_id(candidate: str) -> str:
    """What a candidate of the shortlist is called as a step; empty for no insole alone.

    The customer's own shoes are ``own``, and a shoe without an insole is the shoe.
    """
    return "+".join(filter(None, (_AS_WORN.get(part, part) for part in candidate.split("+"))))


def worn_id(candidate: Candidate) -> str:
    """Its id as a step: an insole is tried in the customer's own shoe; empty for no insole."""
    name = step_id(candidate.id)
    return f"{OWN}+{name}" if candidate.group == "insole" and name else name
