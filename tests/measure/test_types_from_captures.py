"""For every foot type, an invented film and mat of a foot of that type, read through to the type.

The truth is that of the models that draw the captures (tests/invented): posture is scored by hand,
as it is in a shop; the arch stands in the width of the midfoot on the mat and in two heights, how
far and when the foot rolls in only in the film. Which peak, time and return belong to which word:
the published mean less and plus one SD from vertical (`rules/limits.yaml`), far from either edge.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from recommend.infer.assess import assess
from recommend.measure.named import read_measured_visit
from recommend.rulebook.models import FootType
from tests.invented.foot_model import Foot
from tests.invented.gait_model import Gait
from tests.invented.generate import frames_of, marks_text, write_npz
from tests.shipped import book

FPI = {"neutral": 3, "supinated": -3, "highly-supinated": -8, "pronated": 8, "highly-pronated": 11}
MIDFOOT = {"high": 0.16, "ordinary": 0.42, "low": 0.88}
INSTEP = {"high": 76.0, "ordinary": 63.0, "low": 51.0}  # standing, of a truncated length of 188 mm
PEAK = {"little": 1.0, "usual": 6.0, "much": 13.0}
AT = {"typical": 0.37, "prolonged": 0.40, "delayed": 0.62, "early": 0.2}
BACK = {"typical": 9.0, "prolonged": 1.0, "delayed": 9.0, "early": 9.0}
SEED = 12  # drawn so, the foot goes straight over the mat: turned out, angles would be unsure
PLAIN = {"posture": "neutral", "arch": "ordinary", "amount": "usual", "timing": "typical"}


def asked_of(kind: FootType) -> dict[str, str]:
    """The first word that a type allows on each axis."""
    conditions = kind.when.model_dump(by_alias=True, exclude_none=True)
    found = {}
    for one in conditions.get("all", [conditions]):
        words = one["is"] if isinstance(one["is"], list | tuple) else [one["is"]]
        found[one["axis"]] = words[0]
    return PLAIN | found


def captured(folder: Path, axes: dict[str, str]) -> Path:
    """A visit beside its film and its mat recording."""
    foot = Foot("left", isthmus=MIDFOOT[axes["arch"]])
    write_npz(folder / "mat.npz", foot, frames_of(foot, SEED))
    peak = PEAK[axes["amount"]]
    gait = Gait("left", rate=100, touchdown=peak - 6.0, peak=peak,
                peak_at=AT[axes["timing"]], late=peak - BACK[axes["timing"]])  # fmt: skip
    (folder / "film.csv").write_text(marks_text(gait, 10, SEED))
    left: dict[str, Any] = {
        "fpi": {"total": FPI[axes["posture"]]}, "foot-length-mm": 258,
        "truncated-foot-length-mm": 188, "dorsum-height-mm": {"standing": INSTEP[axes["arch"]]},
    }  # fmt: skip
    visit = {
        "reference": "QB-1", "age-band": "adult", "purpose": "walking", "feet": {"left": left},
        "captures": [{"file": "mat.npz"}, {"file": "film.csv"}],
    }  # fmt: skip
    path = folder / "visit.yaml"
    path.write_text(yaml.safe_dump(visit), encoding="utf-8")
    return path


@pytest.mark.parametrize("name", list(book().types))
def test_a_foot_of_each_type_is_read_as_such(name: str, tmp_path: Path) -> None:
    """From the marks and the pressures to the type, with no angle or index typed."""
    rules = book()
    axes = asked_of(rules.types[name])
    path = captured(tmp_path, axes)
    visit = read_measured_visit(
        path, rules.questions, rules.parameters, rules.measures, rules.purposes
    )
    foot = assess(visit, rules).feet["left"]
    assert {axis: foot.conclusions.axes[axis] for axis in PLAIN} == axes
    assert foot.foot_type == name


def test_the_types_are_all_there() -> None:
    """Every combination that a type begins with is another one."""
    asked = [tuple(asked_of(kind).values()) for kind in book().types.values()]
    assert len(set(asked)) == len(asked) > 20
    assert np.all([len(one) == len(PLAIN) for one in asked])
