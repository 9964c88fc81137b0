"""Reconciling two feet, judging products need by need, ranking them."""

from recommend.match.needs import Need, PairNeeds, needs_of
from recommend.match.shortlist import Candidate, Shortlist, shortlist

__all__ = ["Candidate", "Need", "PairNeeds", "Shortlist", "needs_of", "shortlist"]
