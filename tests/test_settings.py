"""The shop's settings: what counts, and where it came from."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path

import platformdirs
import pytest
from typer.testing import CliRunner

from recommend.cli import app, main
from recommend.errors import InputError
from recommend.settings import SETTINGS, changed_settings, lab_errors, setting, settings_file


@pytest.fixture(autouse=True)
def _own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for one in SETTINGS.values():
        monkeypatch.delenv(one.variable, raising=False)
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))


def test_option_counts_before_environment_before_file_before_default(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each layer hides the one below, and says so."""
    assert setting("sizes").origin == "default"
    settings_file().write_text('sizes = "uk"\n')
    assert (setting("sizes").value, setting("sizes").origin[:4]) == ("uk", "file")
    monkeypatch.setenv("RECOMMEND_SIZES", "us-men")
    assert (setting("sizes").value, setting("sizes").origin[:11]) == ("us-men", "environment")
    assert setting("sizes", "mondopoint").origin == "option"


def test_the_settings_file_is_where_the_platform_keeps_such_files(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The place is platformdirs' (XDG on Linux), unless the environment names another."""
    monkeypatch.delenv("RECOMMEND_SETTINGS")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "xdg"))
    folder = platformdirs.user_config_path("recommend", appauthor=False)
    assert settings_file() == folder / "settings.toml"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('sizes = "ukk"', ("settings.toml:1", "did you mean `uk`", "us-women")),
        ("\nsizes = 3", ("settings.toml:2", "text in quotes")),
        ('size = "uk"', ("`size` is not a setting", "did you mean `sizes`")),
        ("sizes =", ("not TOML",)),
        ("[errors]\nfpi = 3", ("errors.fpi", "single")),
        ("[errors.fpi]\nsingle = nan", ("errors.fpi", "numbers")),
        ("[errors.fpi]\nsingle = -1", ("errors.fpi", "numbers")),
    ],
)
def test_a_setting_that_does_not_fit_is_one_sentence(text: str, words: tuple[str, ...]) -> None:
    """What is wrong in the file is named with its place and what is allowed."""
    settings_file().write_text(text + "\n")
    with pytest.raises(InputError) as caught:
        setting("sizes")
    for word in words:
        assert word.lower() in str(caught.value).lower()


def test_what_is_written_is_read_back_by_the_toml_of_the_standard_library() -> None:
    """Quotes, backslashes and other scripts survive."""
    values = {"shop": 'Quill "and" \\ Beck\u007f größe', "catalogue": ["/a b", "/c"]}
    errors = {"fpi": {"single": 0.85, "note": "12 feet"}}
    read = tomllib.loads(changed_settings("", values, errors))
    assert read == {**values, "errors": errors}


def test_setup_writes_one_value_and_show_says_where_it_came_from(tmp_path: Path) -> None:
    """`--set` needs no terminal; an empty value takes it out again."""
    run = CliRunner()
    assert run.invoke(app, ["setup", "--set", "sizes=uk"]).exit_code == 0
    shown = run.invoke(app, ["setup", "show"]).output
    assert re.search(r"^  sizes +uk +\(file\)$", shown, re.MULTILINE)
    assert str(tmp_path / "settings.toml") in shown
    run.invoke(app, ["setup", "--set", "sizes="])
    assert setting("sizes").origin == "default"


def test_a_path_without_its_beginning_counts_from_the_settings(tmp_path: Path) -> None:
    """Where a command is run from changes nothing."""
    settings_file().write_text('catalogue = ["maker", "/own"]\nstock = "today.csv"\n')
    assert setting("catalogue").value == [tmp_path / "maker", Path("/own")]
    assert setting("stock").value == tmp_path / "today.csv"


def test_setup_leaves_everything_else_as_it_was() -> None:
    """Comments, whole numbers and the order of the file stay; a new value stands before tables."""
    text = "# ours\nshop = 'Quill'  # the old name\n\n[errors.fpi] # by two fitters\nsingle = 3\n"
    settings_file().write_text(text)
    run = CliRunner().invoke(app, ["setup", "--set", "sizes=uk"])
    assert run.exit_code == 0, run.output
    assert settings_file().read_text().replace('sizes = "uk"\n', "") == text
    assert (setting("sizes").value, lab_errors()) == ("uk", {"fpi": {"single": 3.0}})


def test_a_catalogue_folder_may_have_a_blank(tmp_path: Path) -> None:
    """A path with blanks is one path; several are separated as the platform separates paths."""
    one, other = tmp_path / "our own list", tmp_path / "maker"
    one.mkdir()
    other.mkdir()
    both = os.pathsep.join(map(str, (other, one)))
    for text, paths in ((str(one), [one]), (both, [other, one])):
        run = CliRunner().invoke(app, ["setup", "--set", f"catalogue={text}"])
        assert run.exit_code == 0, run.output
        assert setting("catalogue").value == paths


def test_setup_keeps_the_errors_of_the_lab() -> None:
    """Changing a setting does not lose what repeats have measured."""
    settings_file().write_text('[errors.fpi]\nsingle = 1.2\nnote = "x"\n')
    CliRunner().invoke(app, ["setup", "--set", "sizes=uk"])
    assert lab_errors() == {"fpi": {"single": 1.2}}


def test_errors_of_the_lab_reach_the_shortlist(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A visit is judged with the error that this lab has measured."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    settings_file().write_text("[errors.fpi]\nsingle = 3.25\n")
    with pytest.raises(SystemExit):
        main(["shortlist", "catalogue_demo/visits/plain-neutral.yaml", "--full"])
    assert "±3.2" in capsys.readouterr().out.replace("±3.3", "±3.2")


def test_an_error_of_something_that_is_no_measure_is_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A misspelt measure in the settings is named with the nearest."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    settings_file().write_text("[errors.foot-lenght]\nsingle = 1.0\n")
    with pytest.raises(SystemExit) as caught:
        main(["shortlist", "catalogue_demo/visits/plain-neutral.yaml"])
    assert caught.value.code == 2
    assert "did you mean `foot-length`" in capsys.readouterr().err.lower()
