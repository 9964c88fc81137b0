"""Derivations and records: kept, verified, replayed and explained."""
