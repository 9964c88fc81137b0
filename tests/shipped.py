"""What ships, read once for a run of tests, and short ways to take a foot or words through it."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

import pytest

from recommend.catalogue import Catalogue, load_catalogue
from recommend.cli import main
from recommend.extras import shipped_folder
from recommend.infer.assess import Assessment, assess
from recommend.infer.engine import engine_of
from recommend.match.shortlist import Shortlist, shortlist
from recommend.rulebook import Rulebook, load_rulebook
from recommend.visit import Visit


@functools.cache
def book() -> Rulebook:
    """The rulebook that ships."""
    return load_rulebook(shipped_folder("rules"))


@functools.cache
def shop() -> Catalogue:
    """The demo shop."""
    return load_catalogue(shipped_folder("catalogue_demo"), book().attributes)


@functools.cache
def calm() -> dict[str, str]:
    """The answer to every question of a first fitting that speaks against nothing."""
    asked = {q: one for q, one in book().questions.items() if one.arises({}, again=False)}
    return {q: "no" if one.alarming == "yes" else "yes" for q, one in asked.items()}


def visit_of(left: dict[str, Any], right: dict[str, Any] | None = None, **more: Any) -> Visit:
    """A visit with these feet (keys as in a visit file), screened; the right is as the left."""
    feet = {"left": left, "right": left if right is None else right}
    more = {key.replace("_", "-"): value for key, value in more.items()}
    more = {"answers": calm()} | more
    return Visit.model_validate({"reference": "T-1", "feet": feet, **more})


def assessed(left: dict[str, Any], right: dict[str, Any] | None = None, **more: Any) -> Assessment:
    """The visit with these feet taken through the shipped rulebook."""
    return assess(visit_of(left, right, **more), book(), engine_of(book()))


def listed(left: dict[str, Any], right: dict[str, Any] | None = None, **more: Any) -> Shortlist:
    """The shortlist of the demo shop for the visit with these feet."""
    return shortlist(assessed(left, right, **more), book(), shop())


def angles(gait: str, reference: str = "vertical", **phases: Any) -> dict[str, Any]:
    """A foot of which only these rearfoot angles were read."""
    return {"rearfoot": [{"gait": gait, "reference": reference, **phases}]}


def run(*args: str | Path) -> int:
    """The exit code of `recommend ARGS`."""
    with pytest.raises(SystemExit) as ended:
        main([str(arg) for arg in args])
    return int(ended.value.code or 0)
