"""Our `dataclass` against Python's own: the same class made by both behaves the same."""

import copy
import dataclasses
import pickle
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from recommend.dataclass import dataclass as ours
from recommend.extras import shipped_folder


class _Spot:
    x: int
    name: str = "here"
    seen: list[int] = dataclasses.field(default_factory=list)
    aside: int = dataclasses.field(default=0, compare=False, repr=False)
    late: int = dataclasses.field(init=False, default=7)

    @property
    def double(self) -> int:
        return 2 * self.x


def _both(**how: bool) -> tuple[Any, Any]:
    """The same class by Python's and by ours."""
    body = {k: v for k, v in vars(_Spot).items() if k not in ("__dict__", "__weakref__")}
    return tuple(
        make(**how)(type("_Spot", (), dict(body))) for make in (dataclasses.dataclass, ours)
    )


KINDS: list[dict[str, bool]] = [
    {},
    {"frozen": True},
    {"frozen": True, "slots": True},
    {"slots": True},
    {"frozen": True, "eq": False},
    {"frozen": True, "slots": True, "order": True},
]


def _tried(do: Any) -> Any:
    """What something gives, or how it fails."""
    try:
        return do()
    except Exception as error:
        return type(error)


@pytest.mark.parametrize("how", KINDS, ids=str)
def test_a_class_behaves_as_pythons_own_does(how: dict[str, bool]) -> None:
    """Making, comparing, ordering, hashing, showing, replacing and changing give the same."""
    tries: list[Any] = [
        lambda kind: repr(kind(1, "a", [2])),
        lambda kind: dataclasses.asdict(kind(1, name="b")),
        lambda kind: kind(1, "a", [2]) == kind(1, "a", [2], aside=5),
        lambda kind: kind(1) == kind(2),
        lambda kind: kind(1) == 1,
        lambda kind: kind(1).seen is kind(1).seen,
        lambda kind: kind(1, "a", ()) < kind(1, "b", ()),
        lambda kind: kind(2, "a", ()) <= kind(1, "b", ()),
        lambda kind: kind(1) > 1,
        lambda kind: hash(kind(1, "a", ())) == hash(kind(1, "a", ())),
        lambda kind: hash(kind(1)),
        lambda kind: kind(),
        lambda kind: kind(1, 2, 3, 4, 5),
        lambda kind: kind(1, there=2),
        lambda kind: repr(dataclasses.replace(kind(1), x=4)),
        lambda kind: dataclasses.replace(kind(1), late=4),
        lambda kind: setattr(kind(1), "x", 2),
        lambda kind: delattr(kind(1), "x"),
        lambda kind: issubclass(_tried(lambda: setattr(kind(1), "new", 2)) or int, Exception),
        lambda kind: kind(3).double + kind(3).late,
        lambda kind: repr(copy.deepcopy(kind(1, "a", [3]))),
        lambda kind: hasattr(kind(1), "__dict__"),
        lambda kind: [one.name for one in dataclasses.fields(kind)],
        lambda kind: list(getattr(kind(seen=[1], x=2), "__dict__", ()))[:4],
        lambda kind: kind(1, x=2),
    ]
    again = _both(**how)
    for _ in range(20):  # by now an `__init__` is written
        again[1](1)
    for number, do in enumerate([*tries, *tries]):
        kinds = again if number >= len(tries) else _both(**how)
        told = [_tried(lambda do=do, kind=kind: do(kind)) for kind in kinds]
        # An object's own hash and place in memory differ from run to run of one class as well.
        same = told[0] == told[1] or (how.get("eq") is False and isinstance(told[0], int))
        assert same, f"{number}: {told}"


@ours(frozen=True, slots=True)
class Kept:
    """One that other processes are handed."""

    one: int
    more: tuple[int, ...] = ()


@ours(frozen=True)
class Checked:
    """One that looks at what it was given."""

    one: int

    def __post_init__(self) -> None:
        """Refuse a number below zero."""
        if self.one < 0:
            raise ValueError("below zero")


class Child(Checked):
    """One whose parent is made by us."""


def test_one_is_handed_to_another_process_whole() -> None:
    """Pickled and read again it is the same, and still cannot be changed."""
    again = pickle.loads(pickle.dumps(Kept(1, (2,))))
    assert again == Kept(1, (2,))
    assert type(again) is Kept
    with pytest.raises(dataclasses.FrozenInstanceError):
        again.one = 3


def test_what_it_is_given_is_looked_at_from_the_first_on() -> None:
    """`__post_init__` runs for the first and for later ones, of a child as well."""
    for kind in (Child, Checked, Child, Checked):
        assert kind(1).one == 1
        with pytest.raises(ValueError, match="below zero"):
            kind(-1)


def test_what_a_shortlist_imports_takes_ours() -> None:
    """A start makes no dataclass by Python's own, which costs several times as much."""
    code = (
        "import sys, contextlib, io\n"
        "sys.argv = ['recommend', 'shortlist', sys.argv[1]]\n"
        "from recommend.cli import main\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit): main()\n"
        "ours = {n: m.__file__ for n, m in sys.modules.items() if n.startswith('recommend.')}\n"
        "print(*[f for n, f in ours.items() if n != 'recommend.dataclass'])"
    )
    visit = shipped_folder("catalogue_demo") / "visits" / "pronated.yaml"
    run = [sys.executable, "-c", code, str(visit)]
    files = subprocess.run(run, capture_output=True, text=True, check=True).stdout.split()
    assert len(files) > 20
    pythons = re.compile(r"^from dataclasses import .*\bdataclass\b", re.MULTILINE)
    assert [f for f in files if pythons.search(Path(f).read_text("utf-8"))] == []
