"""A rulebook and a catalogue kept as plain data are what their files say, or are made again."""

import subprocess
import sys
from pathlib import Path

import pytest

from recommend.catalogue.loading import load_catalogue, prepared_catalogue
from recommend.extras import shipped_folder
from recommend.reading import prepared
from recommend.reading.texts import Texts
from recommend.rulebook import load_rulebook, prepared_rulebook

RULES, PRODUCTS = shipped_folder("rules"), shipped_folder("catalogue_demo")


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder in which files are kept, empty at first."""
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: tmp_path)
    return tmp_path / "prepared"


def test_same_as_read(kept: Path) -> None:
    """What comes back from a kept file is, field by field, what reading the texts gives."""
    read = load_rulebook(RULES)
    prepared_rulebook(RULES)
    again = prepared_rulebook(RULES)
    assert len(list(kept.glob("rulebook-*"))) == 1
    for name in ("heading", "measures", "limits", "limit_values", "axes", "questions", "types",
                 "attributes", "sources", "vocabulary", "rules", "texts", "digest"):  # fmt: skip
        assert getattr(again, name) == getattr(read, name), name
    assert again.parameters.numbers == read.parameters.numbers
    prepared_catalogue(PRODUCTS, read)
    assert prepared_catalogue(PRODUCTS, again) == load_catalogue(PRODUCTS, read.attributes)
    one = again.rules[0].rule
    assert one.model_dump(exclude_unset=True) == read.rules[0].rule.model_dump(exclude_unset=True)


def test_changed_rules_are_read(kept: Path) -> None:
    """A limit that was changed counts at once, whatever was kept before."""
    prepared_rulebook(RULES)
    texts = Texts.of_folder(RULES)
    other = texts["rulebook.yaml"].decode().replace("name: ", "name: other ", 1)
    changed = prepared_rulebook(texts.replaced({"rulebook.yaml": other}))
    assert changed.heading.name.startswith("other ")
    assert len(list(kept.glob("rulebook-*"))) == 2


@pytest.mark.parametrize(
    "harm",
    [
        lambda raw: raw[: len(raw) // 2],
        lambda raw: raw.replace(b"walking", b"running", 1),
        lambda raw: b"",
        lambda raw: _signed(b'[[1],[["tuple",[7]]]]'),
        lambda raw: _signed(b'[[1],[["os.system run",[0]]]]'),
        lambda raw: _signed(b"[1,"),
    ],
    ids=["half", "another-word", "empty", "not-a-table", "another-class", "not-json"],
)
def test_damaged_is_made_again(kept: Path, harm: object) -> None:
    """A file that is not as it was written is made again in silence, and never believed."""
    prepared_rulebook(RULES)
    (file,) = kept.glob("rulebook-*")
    good = file.read_bytes()
    file.write_bytes(harm(good))  # type: ignore[operator]
    assert prepared_rulebook(RULES).rules == load_rulebook(RULES).rules
    assert file.read_bytes() == good


def test_nowhere_to_keep(kept: Path) -> None:
    """Where nothing can be kept, rules are read as ever."""
    kept.write_text("a file where the folder should be")
    assert prepared_rulebook(RULES).digest == load_rulebook(RULES).digest


def test_a_change_of_any_module_that_reads_counts() -> None:
    """What is kept is of this program: every module of ours that reading loads is in its key."""
    code = (
        "import sys, pathlib; from recommend.rulebook import load_rulebook;"
        "from recommend.catalogue.loading import load_catalogue;"
        "book = load_rulebook(pathlib.Path(sys.argv[1]));"
        "load_catalogue(pathlib.Path(sys.argv[2]), book.attributes);"
        "print(*[m.__file__ for n, m in sys.modules.items() if n.startswith('recommend.')])"
    )
    run = [sys.executable, "-c", code, str(RULES), str(PRODUCTS)]
    files = subprocess.run(run, capture_output=True, text=True, check=True).stdout.split()
    assert len(files) > 20
    assert [one for one in files if f"{one} " not in prepared._program()] == []


def _signed(body: bytes) -> bytes:
    import hashlib

    return hashlib.sha256(body).hexdigest().encode() + b"\n" + body
