"""Records of visits: kept, verified, moved, derived again, and held against other rules."""
