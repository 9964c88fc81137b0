"""Which insole goes into which shoe: liner, room inside, width at the heel."""

from __future__ import annotations

from recommend.catalogue.loading import Item
from recommend.dataclass import dataclass
from recommend.parameters import Parameters

# What decides whether one goes into the other, whether or not a rule asks for it.
FITTED = frozenset(
    {"shoe.removable-liner", "insole.thickness"}
    | {f"{kind}.{what}" for kind in ("shoe", "insole") for what in ("volume", "heel-width")}
)

# Levels that decide whether they fit: shoes alike in these take the same insoles.
SHOE_READS = ("shoe.removable-liner", "shoe.volume", "shoe.heel-width")
INSOLE_READS = ("insole.thickness", "insole.volume", "insole.heel-width")


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether an insole fits a shoe; `against` says why not, `unsure` what was not stated."""

    against: tuple[str, ...]
    unsure: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether nothing that is known speaks against it."""
        return not self.against


def fit(shoe: Item, insole: Item, parameters: Parameters) -> Fit:
    """Whether `insole` goes into `shoe`, by what their makers state.

    Heel widths are both stated for the same size and grow alike with length, so they are
    compared as stated.
    """
    if insole.offered == "none":
        return Fit((), ())
    against: list[str] = []
    unsure: list[str] = []
    liner = shoe.levels.get("shoe.removable-liner")
    thickness = insole.levels.get("insole.thickness")
    if liner is None:
        unsure.append("whether the liner comes out is not stated")
    elif liner == 0 and (thickness is None or thickness > parameters.sizing.thick_insole):
        against.append("the liner does not come out")
    _compare(
        shoe.levels.get("shoe.volume"), insole.levels.get("insole.volume"), 0.0,
        "the insole takes more room than the shoe has", "room inside", against, unsure,
    )  # fmt: skip
    _compare(
        shoe.levels.get("shoe.heel-width"), insole.levels.get("insole.heel-width"),
        parameters.sizing.heel_width_slack,
        "the insole is wider at the heel than the shoe", "width at the heel", against, unsure,
    )  # fmt: skip
    return Fit(tuple(against), tuple(unsure))


def _compare(
    room: float | None,
    taken: float | None,
    slack: float,
    says: str,
    what: str,
    against: list[str],
    unsure: list[str],
) -> None:
    if room is None or taken is None:
        unsure.append(f"{what} is not stated")
    elif taken > room + slack:
        against.append(says)
