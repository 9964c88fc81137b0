"""Running a rulebook: one visit (durable-rules) or many feet (numpy)."""
