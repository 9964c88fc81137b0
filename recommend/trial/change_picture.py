"""What each try-on did to each reading: means with their intervals and bands, on one scale."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from recommend.trial.change import Interval
from recommend.trial.judged_steps import Trial, order
from recommend.trial.steps import Key
from recommend.trial.verdict import Band, Judged


@dataclass(frozen=True, slots=True)
class Row:
    """One reading of one foot: barefoot first, then every try-on in which it was read.

    Attributes
    ----------
    key : the reading.
    band : what is usual for it, or None.
    bare : mean barefoot.
    levels : by id of the try-on, its mean with the interval.
    changes : by id of the try-on, the change with its interval.
    """

    key: Key
    band: Band | None
    bare: float
    levels: Mapping[str, Interval]
    changes: Mapping[str, Interval]


@dataclass(frozen=True, slots=True)
class ChangePicture:
    """All rows of one gait and zero in degrees; both feet have the same scale.

    `steps` are the ids of all try-ons of the trial, so that each keeps its letter.
    """

    gait: str
    reference: str
    steps: tuple[str, ...]
    rows: tuple[Row, ...]

    def edges(self) -> tuple[float, float]:
        """The least and the largest angle that is drawn, in whole degrees."""
        values = [row.bare for row in self.rows]
        values += [v for row in self.rows for i in row.levels.values() for v in (i.low, i.high)]
        ends = [v for row in self.rows if row.band for v in (row.band.low, row.band.high)]
        values += [value for value in ends if math.isfinite(value)]
        return math.floor(min(values)), math.ceil(max(values))


def change_pictures(trial: Trial) -> tuple[ChangePicture, ...]:
    """A picture for every gait and zero reference; readings that are no degrees are left out."""
    judged: dict[Key, dict[str, Judged]] = {}
    for result in trial.results:
        for key, one in result.whole.items():
            if key.reading != "peak-time":
                judged.setdefault(key, {})[result.step.id] = one
    kinds = dict.fromkeys((key.gait, key.reference) for key in judged)
    steps = tuple(result.step.id for result in trial.results)
    return tuple(
        ChangePicture(gait, reference, steps, tuple(_rows(judged, gait, reference)))
        for gait, reference in kinds
    )


def _rows(judged: Mapping[Key, Mapping[str, Judged]], gait: str, reference: str) -> list[Row]:
    rows = []
    for key in sorted(judged, key=order):
        if (key.gait, key.reference) == (gait, reference):
            steps = judged[key]
            first = next(iter(steps.values()))
            rows.append(
                Row(
                    key,
                    first.band,
                    first.change.before.mean,
                    {name: one.level for name, one in steps.items()},
                    {name: one.change.interval for name, one in steps.items()},
                )
            )
    return rows
