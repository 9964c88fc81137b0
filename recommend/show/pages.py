"""What every page of HTML has alike: its frame, its style, its lists."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from pathlib import Path


def style(name: str) -> str:
    """The style sheet of a page, as an element; it lies beside this file."""
    return f"<style>\n{Path(__file__).with_name(name).read_text(encoding='utf-8')}</style>"


def document(title: str, styled: str, body: str, attributes: str = 'lang="en"') -> str:
    """A whole page: nothing in it is fetched, and no script runs.

    Parameters
    ----------
    styled : its `style`.
    body : HTML between the tags of its body.
    attributes : of the outermost element: language and direction.
    """
    return (
        f"<!DOCTYPE html>\n<html {attributes}>\n<head>\n"
        '<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n{styled}\n</head>\n"
        f"<body>\n{body}\n</body>\n</html>\n"
    )


def listed(items: Iterable[str]) -> str:
    """A list of sentences."""
    return f"<ul>{''.join(f'<li>{escape(one)}</li>' for one in items)}</ul>"
