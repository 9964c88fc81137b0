"""The blank sheet as it is printed."""

from __future__ import annotations

import re

import pytest

from recommend.cli import main


def test_the_sheet_names_the_paper_of_the_posture_index_and_whose_words_it_uses(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The six items carry Redmond, Crosbie and Ouvrier 2006, Clin Biomech 21:89-98."""
    with pytest.raises(SystemExit):
        main(["visit", "form"])
    text = re.sub(r"<[^>]+>|\s+", " ", capsys.readouterr().out)
    assert "Redmond AC, Crosbie J" in text
    assert "Clin Biomech 2006;21:89-98" in text
    assert "the words here are ours" in text
