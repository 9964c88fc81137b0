"""Data as the text of a YAML file, such that the strict reader here reads what was written.

YAML 1.1, by which the library writes, takes ``0812`` and ``1e3`` for text and leaves them bare;
the reader takes them for numbers.
"""

from __future__ import annotations

from typing import Any

import yaml

from recommend.reading.plain_data import is_bare_text


def written(data: Any, **layout: Any) -> str:
    """`data` as YAML: keys in their order, nothing referred back to, text that is read as text.

    Parameters
    ----------
    layout : what ``yaml.dump`` takes beside, such as `width`.
    """
    text: str = yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, **layout)
    return text


class _Dumper(yaml.SafeDumper):
    """Writes things out each time, as our files have no anchors."""

    def ignore_aliases(self, _data: Any) -> bool:
        return True


def _text(dumper: yaml.SafeDumper, text: str) -> yaml.ScalarNode:
    style = None if is_bare_text(text) else "'"
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style=style)


_Dumper.add_representer(str, _text)
