"""Everything a person sees: terminal, JSON, printable pages."""
