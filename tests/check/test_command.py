"""`recommend check` as it is typed."""

import json
from pathlib import Path

import jsonschema
import pytest

from recommend.errors import Place
from recommend.show.findings import excerpt
from tests.check.conftest import Changed
from tests.shipped import run

SCHEMA = Path(__file__).parent.parent / "outside" / "sarif-2.1.0.schema.json"


def test_an_error_is_shown_with_line_caret_and_what_to_do(
    changed: Changed, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, the place, the line itself with a caret below the word, and the remedy."""
    folder = changed(("classify/motion.yaml", "limit: peak-upper}", "limit: peak-uper}"))
    assert run("check", str(folder)) == 2
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == f"error: not-readable {folder}/classify/motion.yaml:12:59"
    shown = next(i for i, line in enumerate(lines) if line.lstrip().startswith("12 |"))
    assert lines[shown][lines[shown + 1].index("^") :].startswith("peak-uper")
    assert "  do: did you mean `peak-upper`?" in [line.rstrip() for line in lines]


def test_json_and_sarif_tell_the_same(
    changed: Changed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The SARIF log fits the schema that OASIS published for SARIF 2.1.0 (kept beside the test)."""
    folder = changed(
        ("classify/posture-and-arch.yaml", "is: below, limit: fpi-pronated}",
         "is: at-most, limit: fpi-pronated}"),
    )  # fmt: skip
    log = tmp_path / "log.sarif"
    assert run("check", str(folder), "--json", "--sarif", str(log)) == 2
    told = json.loads(capsys.readouterr().out)["findings"]
    sarif = json.loads(log.read_text())
    schema = json.loads(SCHEMA.read_text())
    jsonschema.Draft4Validator(schema).validate(sarif)
    results = sarif["runs"][0]["results"]
    assert [r["ruleId"] for r in results] == [f["code"] for f in told]
    first = results[0]["locations"][0]["physicalLocation"]
    assert first["artifactLocation"]["uri"].endswith("posture-and-arch.yaml")
    assert first["region"]["startLine"] == told[0]["place"]["line"]
    assert "fpi" in results[0]["properties"]["visit"]


def test_excerpt_of_a_long_line_keeps_the_caret_below_the_word(tmp_path: Path) -> None:
    """A line wider than the screen is cut around the column that is meant."""
    file = tmp_path / "long.yaml"
    file.write_text("x" * 200 + "WORD" + "y" * 100 + "\n")
    text, caret = excerpt(Place(str(file), 1, 201), 76)
    assert len(text) <= 76
    assert text[caret.index("^") :].startswith("WORD")
