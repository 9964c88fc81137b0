"""From measured feet to a reasoned shortlist of shoes and insoles."""

__version__ = "0.2.0"
