"""From measured feet to a reasoned shortlist of shoes and insoles.

`recommend help library` shows how to use it from Python.
"""

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.2.0"

if TYPE_CHECKING:
    from recommend.library import (
        InputError,
        RecommendError,
        coverage_of,
        explanation_of,
        open_catalogue,
        open_rulebook,
        read_visit,
        shortlist_of,
    )

__all__ = [
    "InputError",
    "RecommendError",
    "coverage_of",
    "explanation_of",
    "open_catalogue",
    "open_rulebook",
    "read_visit",
    "shortlist_of",
]

if not TYPE_CHECKING:

    def __getattr__(name: str) -> object:
        """What the library gives, imported at its first use, so that a command starts fast."""
        if name not in __all__:
            raise AttributeError(f"module `recommend` has no attribute `{name}`")
        return getattr(import_module("recommend.library"), name)
