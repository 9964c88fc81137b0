"""Conditions of a rule as they are written in YAML.

A condition is a mapping: ``all``, ``any`` or ``none`` of further conditions, or one
comparison of a measure, an axis, an answer, a painful site or a fact of the visit.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import BeforeValidator, Discriminator, Field, Tag, WithJsonSchema, model_validator

from recommend.reading import Strict, told_apart

Order = Literal["above", "at-least", "below", "at-most", "clearly-above", "clearly-below"]
ORDERS: tuple[str, ...] = (
    "above", "at-least", "below", "at-most", "clearly-above", "clearly-below",
)  # fmt: skip
NOT_MEASURED = "not-measured"
NOT_ANSWERED = "not-answered"
UNDETERMINED = "undetermined"


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_LIST = {"type": "array", "items": {"type": "string"}, "minItems": 1}
Words = Annotated[
    list[str],
    BeforeValidator(_as_list),
    Field(min_length=1),
    WithJsonSchema({"anyOf": [{"type": "string"}, _LIST]}),
]


class Group(Strict):
    """Conditions under the word `key`."""

    key: ClassVar[str]

    @property
    def parts(self) -> list[Condition]:
        """The conditions."""
        found: list[Condition] = getattr(self, self.key)
        return found

    def of(self, parts: list[Condition]) -> Self:
        """The same word over other conditions."""
        return type(self)(**{self.key: parts})


class AllOf(Group):
    """True when every part is true, false when one is false, else unknown."""

    key = "all"
    all: list[Condition] = Field(min_length=1)


class AnyOf(Group):
    """True when one part is true, false when every part is false, else unknown."""

    key = "any"
    any: list[Condition] = Field(min_length=1)


class NoneOf(Group):
    """True when every part is false, false when one is true, else unknown."""

    key = "none"
    none: list[Condition] = Field(min_length=1)


class OfMeasure(Strict):
    """A measure against a limit, or a class measure against words.

    ``clearly-above`` and ``clearly-below`` ask the reading to lie beyond the limit by more
    than its own error (times ``noise.clearly``).
    """

    measure: str
    is_: Words = Field(alias="is")
    limit: str | None = None

    @model_validator(mode="after")
    def _limit_goes_with_order(self) -> OfMeasure:
        ordered = self.is_[0] in ORDERS
        if ordered and (self.limit is None or len(self.is_) > 1):
            raise ValueError(f"`is: {self.is_[0]}` needs exactly one `limit`")
        if not ordered and self.limit is not None:
            raise ValueError(f"`limit` goes with one of {', '.join(ORDERS)}")
        return self


class OfAxis(Strict):
    """An axis that has, or with `is-not` has not, one of the values.

    ``is: undetermined`` asks whether no rule could decide the axis; that is never unknown. It
    may stand beside values.
    """

    axis: str
    is_: Words | None = Field(default=None, alias="is")
    is_not: Words | None = None

    @model_validator(mode="after")
    def _one_of_the_two(self) -> OfAxis:
        if (self.is_ is None) == (self.is_not is None):
            raise ValueError("write exactly one of `is` and `is-not`")
        return self


class OfAnswer(Strict):
    """A screening answer; not asked is unknown.

    ``is: not-answered`` asks whether the question is open; that is never unknown.
    """

    answer: str
    is_: Literal["yes", "no", "not-answered"] = Field(alias="is")


class OfPain(Strict):
    """Pain at a site on this side; no list of pain at all is unknown."""

    pain: str
    is_: Literal["yes", "no"] = Field(alias="is")


class OfVisit(Strict):
    """A fact of the visit: ``age-band``, ``purpose`` or the ``socks`` that are kept."""

    visit: Literal["age-band", "purpose", "socks"]
    is_: Words = Field(alias="is")


class OfNote(Strict):
    """Whether a note is due, by the id of its rule; rules of needs may ask it.

    The loader puts the condition of that rule in its place, so no engine meets it.
    """

    note: str


_KEYS = {
    "all": AllOf, "any": AnyOf, "none": NoneOf, "measure": OfMeasure, "axis": OfAxis,
    "answer": OfAnswer, "pain": OfPain, "visit": OfVisit, "note": OfNote,
}  # fmt: skip
# Tags are unlike any key, so that no place in a file is mistaken for one.


Condition = Annotated[
    Annotated[AllOf, Tag("<all>")]
    | Annotated[AnyOf, Tag("<any>")]
    | Annotated[NoneOf, Tag("<none>")]
    | Annotated[OfMeasure, Tag("<measure>")]
    | Annotated[OfAxis, Tag("<axis>")]
    | Annotated[OfAnswer, Tag("<answer>")]
    | Annotated[OfPain, Tag("<pain>")]
    | Annotated[OfVisit, Tag("<visit>")]
    | Annotated[OfNote, Tag("<note>")],
    Discriminator(told_apart({f"<{key}>": (model, key) for key, model in _KEYS.items()})),
    Field(description="a condition with one of the keys " + ", ".join(_KEYS)),
]
