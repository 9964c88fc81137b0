"""A good visit, and short ways to spoil it.

A case is a content and the words that the message must hold. § marks the line that the message
must point at and is taken out; without a § the message names the file only.
"""

from __future__ import annotations

BASE = """reference: QB-1
age-band: adult
body-mass-kg: 70
purpose: walking
shoe-size: {system: eu, value: 42}
pain: []
answers: {diabetes: no}
feet:
  left:
    fpi: {total: 3}
    foot-length-mm: 265
    truncated-foot-length-mm: 195
"""

Case = tuple[str | bytes, tuple[str, ...]]


def after(lines: str) -> str:
    """The good visit with more lines of the left foot."""
    return BASE + "".join(f"    {line}\n" for line in lines.splitlines())


def instead(old: str, new: str) -> str:
    """The good visit with one thing replaced."""
    assert old in BASE
    return BASE.replace(old, new, 1)


def foot(lines: str) -> str:
    """A visit with only these lines of the left foot."""
    body = "".join(f"    {line}\n" for line in lines.splitlines())
    return f"reference: QB-1\nfeet:\n  left:\n{body}"
