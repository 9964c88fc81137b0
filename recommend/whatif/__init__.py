"""The same visit with other readings: how sure it is, and the nearest change."""
