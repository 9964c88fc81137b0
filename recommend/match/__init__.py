"""Reconciling two feet, judging products need by need, ranking them."""
