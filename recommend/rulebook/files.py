"""What whole files of a rulebook hold; apart from `models`, for a prepared rulebook needs none."""

# No `annotations` of the future here: a model is made a third faster from types than from text.

from typing import Self

from pydantic import Field, model_validator

from recommend.measure.definitions import MeasureDefs
from recommend.reading import Id, Strict
from recommend.rulebook.models import (
    AttributeDef,
    AxisDef,
    FootType,
    Limit,
    Purpose,
    Question,
    Rule,
    Source,
)

# A measure so called would give facts that already mean something else (see `vocabulary`).
RESERVED_MEASURES = frozenset(
    {"answer", "asked", "axis", "decided", "known", "pain", "side", "visit"}
)
RESERVED_QUALIFIERS = frozenset({"high", "low"})


class RuleFile(Strict):
    """A file of ``screen/``, ``classify/`` or ``need/``."""

    title: str
    rules: list[Rule] = Field(min_length=1)


class TypesFile(Strict):
    """``types.yaml``."""

    title: str
    types: list[FootType] = Field(min_length=2)


class LimitsFile(Strict):
    """``limits.yaml``."""

    title: str
    limits: dict[Id, Limit]


class SourcesFile(Strict):
    """``sources.yaml``."""

    title: str
    sources: dict[Id, Source]


class MeasuresFile(Strict):
    """``measures.yaml``."""

    title: str
    measures: MeasureDefs

    @model_validator(mode="after")
    def _facts_have_one_meaning(self) -> Self:
        for name, one in self.measures.items():
            if name in RESERVED_MEASURES:
                raise ValueError(f"no measure may be called `{name}`; facts of that name exist")
            for qualifier in RESERVED_QUALIFIERS & set(one.qualifiers):
                raise ValueError(f"no qualifier of `{name}` may be called `{qualifier}`")
        return self


class AxesFile(Strict):
    """``axes.yaml``."""

    title: str
    axes: dict[Id, AxisDef]


class PurposesFile(Strict):
    """``purposes.yaml``; without it, what every rulebook before it knew."""

    title: str
    purposes: dict[Id, Purpose] = Field(min_length=1)

    @model_validator(mode="after")
    def _each_key_once(self) -> Self:
        keys = [one.key for one in self.purposes.values()]
        if twice := {key for key in keys if keys.count(key) > 1}:
            raise ValueError(f"two purposes have the key `{min(twice)}`; give each its own")
        return self


class QuestionsFile(Strict):
    """``questions.yaml``."""

    title: str
    questions: dict[Id, Question]


class AttributesFile(Strict):
    """``attributes.yaml``: attributes of shoe, insole and of the pair."""

    title: str
    shoe: dict[Id, AttributeDef]
    insole: dict[Id, AttributeDef]
    pair: dict[Id, AttributeDef] = {}

    def by_name(self) -> dict[str, AttributeDef]:
        """All attributes by full name, such as ``shoe.width``."""
        groups = {"shoe": self.shoe, "insole": self.insole, "pair": self.pair}
        return {f"{g}.{name}": one for g, many in groups.items() for name, one in many.items()}


# What shoes were for before rulebooks could say it.
FIRST_PURPOSES = {
    "walking": Purpose(title="walking", key="w"),
    "running": Purpose(title="running", key="r"),
    "standing-work": Purpose(title="standing work", key="s"),
}
