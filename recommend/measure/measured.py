"""What a capture yields: measures, curves and pictures' data, with every doubt named."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from recommend.measure.budget import Budget
from recommend.measure.model import Flag, Measure, Side
from recommend.measure.phases import Curve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class FootPicture:
    """Mean footprint of one foot for showing, along its axis.

    Attributes
    ----------
    x, y : (columns,) and (rows,) positions in mm in the foot (lateral, forward).
    pressure : (rows, columns) mean over steps of the peak pressure in kPa.
    length_mm, toeless_mm, width_mm : mean sizes of the contact.
    """

    x: FloatArray
    y: FloatArray
    pressure: FloatArray
    length_mm: float
    toeless_mm: float
    width_mm: float


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
