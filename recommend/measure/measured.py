"""What a capture yields: measures, curves and pictures' data, with every doubt named; as JSON.

Curves stand on a common stance, which is cut into contact, midstance and propulsion.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np

from recommend.measure.filtering import FloatArray
from recommend.measure.model import Flag, Measure, Side
from recommend.measure.spread import Budget
from recommend.parameters import Capture

FORMAT = "recommend-measures-1"
Phase = Literal["contact", "midstance", "propulsion"]
PHASES: Final[tuple[Phase, ...]] = ("contact", "midstance", "propulsion")
STANCE_POINTS: Final = 101  # 0 to 100 % of stance, one point per percent


@dataclass(frozen=True, slots=True, eq=False)
class FootPicture:
    """Mean footprint of one foot for showing, along its axis.

    Attributes
    ----------
    x, y : (columns,) and (rows,) positions in mm in the foot (lateral, forward).
    pressure : (rows, columns) mean over steps of the peak pressure in kPa.
    length_mm, toeless_mm : mean lengths of the contact, with its toes and without them.
    """

    x: FloatArray
    y: FloatArray
    pressure: FloatArray
    length_mm: float
    toeless_mm: float


def key_of(measure: Measure) -> str:
    """What tells apart the measures of one capture: the name, and the kind where there are two."""
    kind = measure.qualifiers.get("kind")
    return f"{measure.name}-weighted" if kind == "pressure-weighted" else measure.name


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One foot of one capture.

    Attributes
    ----------
    kind : ``pressure`` or ``marks``.
    file, sha256 : name of the capture and hash of its bytes.
    side, gait, condition, load : what was captured.
    n : steps or strides used.
    measures : with errors and flags; those a doubt removed are absent.
    flags : all doubts of the capture, also those that only concern left-out steps.
    strides : per stride or step, by measure name, the single values.
    curves : ``rearfoot-angle`` (deg), ``cop`` (101, 2 in mm) and ``force`` (N) over stance.
    picture : the mean footprint of a pressure capture.
    budgets : what the error of each measure is made of, by its `key_of`.
    device, date : what took the capture, and the day, as its head says.
    """

    kind: Literal["pressure", "marks"]
    file: str
    sha256: str
    side: Side
    gait: str
    condition: str
    load: str
    n: int
    measures: tuple[Measure, ...]
    flags: tuple[Flag, ...]
    strides: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    curves: Mapping[str, Curve] = field(default_factory=dict)
    picture: FootPicture | None = None
    budgets: Mapping[str, Budget] = field(default_factory=dict)
    device: str = ""
    date: datetime.date | None = None

    @property
    def origin(self) -> str:
        """The capture's file, without its folder, and its date where it is known."""
        return ", ".join(filter(None, (Path(self.file).name, str(self.date or ""))))

    def budget(self, measure: Measure) -> Budget:
        """What the error of `measure` is made of, doubts included."""
        return self.budgets.get(key_of(measure), Budget()).widened_to(measure.error or 0.0)

    def find(self, name: str, **qualifiers: str) -> Measure | None:
        """The measure called `name` with these qualifiers, or None."""
        for measure in self.measures:
            same = all(measure.qualifiers.get(k) == v for k, v in qualifiers.items())
            if measure.name == name and same:
                return measure
        return None

    def hashed(self, sha256: str, file: str) -> Measured:
        """The same with the capture's hash and file name in it and in every measure."""
        measures = tuple(replace(m, capture=sha256) for m in self.measures)
        return replace(self, sha256=sha256, file=file, measures=measures)


def as_document(found: Sequence[Measured]) -> dict[str, Any]:
    """Every foot of every capture: measures, values per step or stride, curves, footprint, doubts.

    Numbers keep four significant digits beyond the point; what was not measured is absent.
    """
    return {"format": FORMAT, "captures": [_one(one) for one in found]}


_SAID = ("file", "sha256", "kind", "side", "gait", "condition", "load", "n")


def _one(one: Measured) -> dict[str, Any]:
    document: dict[str, Any] = {name: getattr(one, name) for name in _SAID}
    document |= {
        "measures": [_measure(one, measure) for measure in one.measures],
        "flags": [asdict(flag) for flag in one.flags],
        "each": {name: _rounded(values) for name, values in one.strides.items()},
        "curves": {name: _curve(curve) for name, curve in one.curves.items()},
    }
    if one.picture is not None:
        document["footprint"] = {
            "x-mm": _rounded(one.picture.x),
            "y-mm": _rounded(one.picture.y),
            "peak-kpa": np.round(one.picture.pressure, 1).tolist(),
        }
    return document


def _measure(one: Measured, measure: Measure) -> dict[str, Any]:
    terms = one.budget(measure).terms if measure.error else {}
    return {
        "name": measure.name,
        "value": measure.value if isinstance(measure.value, str) else _short(measure.value),
        "unit": measure.unit,
        "error": None if measure.error is None else _short(measure.error),
        "error-terms": {name: _short(term) for name, term in terms.items()},
        "n": measure.n,
        "method": measure.method,
        "qualifiers": dict(measure.qualifiers),
        "flags": [flag.name for flag in measure.flags],
    }


def _curve(curve: Curve) -> dict[str, Any]:
    return {
        "unit": curve.unit,
        "n": curve.n,
        "mean": np.round(curve.mean, 3).tolist(),
        "sd": np.round(curve.sd, 3).tolist(),
    }


def _rounded(values: Sequence[float] | np.ndarray[Any, Any]) -> list[float | None]:
    return [_short(float(value)) for value in values]


def _short(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None  # JSON has no NaN


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Mean curve over stance with its spread between strides.

    Attributes
    ----------
    mean, sd : (101,) or (101, k), at 0 to 100 % of stance; `sd` is zero for one stride.
    n : number of strides.
    unit : unit of the values.
    """

    mean: FloatArray
    sd: FloatArray
    n: int
    unit: str


def borders(capture: Capture) -> tuple[float, float]:
    """End of contact and end of midstance as percent of stance."""
    return capture.contact_end, capture.midstance_end


def phase_slices(capture: Capture, intervals: int = STANCE_POINTS - 1) -> dict[Phase, slice]:
    """Points of a stance of so many intervals that belong to each phase; neighbours share none."""
    first, second = (round(intervals * border / 100.0) for border in borders(capture))
    return {
        "contact": slice(0, first),
        "midstance": slice(first, second),
        "propulsion": slice(second, intervals + 1),
    }


def normalise(values: FloatArray) -> FloatArray:
    """Resample `values`, (n,) or (n, k) at even times, to (101,) or (101, k).

    The first and the last sample keep their place; between samples it is linear.
    """
    old = np.linspace(0.0, 1.0, len(values))
    new = np.linspace(0.0, 1.0, STANCE_POINTS)
    if values.ndim == 1:
        return np.interp(new, old, values)
    return np.column_stack([np.interp(new, old, column) for column in values.T])


def average(curves: Sequence[FloatArray], unit: str) -> Curve:
    """Mean and standard deviation, point by point, of curves already on 101 points."""
    stack = np.stack(curves)
    ddof = 1 if len(stack) > 1 else 0
    return Curve(stack.mean(axis=0), stack.std(axis=0, ddof=ddof), len(stack), unit)
