"""Which engine concludes a visit: durable-rules wherever it is installed, else the arrays.

durable-rules is C that must be built on the machine. Where that cannot be done, the engine for
many feet concludes one. Both say the same of every foot, so an outcome names its engine and
differs in nothing else.
"""

from __future__ import annotations

from functools import cache
from typing import Protocol

from recommend.errors import InputError, Place
from recommend.infer.conclusions import Conclusions
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import Facts
from recommend.settings import ENGINES, setting

REFERENCE, ARRAYS = ENGINES


class Engine(Protocol):
    """A rulebook made ready to conclude one foot after another."""

    name: str
    book: Rulebook

    def conclude(self, facts: Facts) -> Conclusions:
        """What the rulebook says of a foot.

        Raises
        ------
        ContradictionError
            If two rules conclude different values of one axis.
        RecommendError
            If a fact is not one the vocabulary allows, or is one that rules conclude.
        """


@cache
def is_built() -> bool:
    """Whether durable-rules is installed and loads."""
    try:
        import recommend.infer.one  # noqa: F401
    except ImportError:
        return False
    return True


def engine_name() -> str:
    """The engine that concludes here: the one set, else durable-rules where it is installed.

    Raises
    ------
    InputError
        If durable-rules is asked for and is not installed.
    """
    asked = setting("engine")
    if asked.value == REFERENCE and not is_built():
        raise InputError(
            Place(asked.origin), f"the engine {REFERENCE} is not installed", ARRAYS,
            "`recommend setup engine` tries to build it",
        )  # fmt: skip
    return asked.value or (REFERENCE if is_built() else ARRAYS)


_ENGINES: dict[tuple[int, str], Engine] = {}


def engine_of(book: Rulebook) -> Engine:
    """The engine of `book`, built at its first use: what durable-rules builds is never freed."""
    name = engine_name()
    key = id(book), name  # an engine keeps its book, so its id is not given again
    if key not in _ENGINES:
        _ENGINES[key] = new_engine(book, name)
    return _ENGINES[key]


def new_engine(book: Rulebook, name: str) -> Engine:
    """A new engine by its name."""
    if name == REFERENCE:
        from recommend.infer import one

        return one.DurableRules(book)
    from recommend.infer.many import ArrayEngine

    return ArrayEngine(book)
