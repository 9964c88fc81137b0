"""Whether a rulebook can be trusted: findings, examples, mutants, promises, differences."""
