"""Guided entry through a real pseudo-terminal, killed and resumed."""

from __future__ import annotations

import json
import os
import signal
import sys
import tomllib
from pathlib import Path

import pytest

pytest.importorskip("pty", reason="this platform has no pseudo-terminals")

from recommend.extras import shipped_folder
from recommend.rulebook import load_rulebook
from recommend.visit import read_visit
from tests.visit.terminal import Terminal, environment, screened


def test_a_fitting_is_typed_one_key_each_and_becomes_a_visit_file(tmp_path: Path) -> None:
    """Keys for answers and scores, lines for numbers; the visit file holds exactly those."""
    terminal = Terminal(["visit", "new", "A-1042"], environment(tmp_path))
    screened(terminal)
    terminal.wait_for("Who asks")
    terminal.type("F2\n")
    terminal.wait_for("shoes for?")
    terminal.type("w")
    terminal.wait_for("shoe worn now")
    terminal.type("42\n")
    terminal.wait_for("Body mass")
    terminal.type("\n")
    terminal.wait_for("Standing posture")
    for number in range(6):
        terminal.wait_for(f"({number + 1}/")
        terminal.wait_for("> ")
        terminal.type("f-1")
    terminal.wait_for("So far: left: stands rolled inwards")
    for block in ("Lengths", "Captures", "Footprint", "Rearfoot", "Path of the load", "Remarks"):
        terminal.wait_for(f"-- {block}")
        terminal.wait_for("> ")
        terminal.type(">\n")
    terminal.wait_for("can change nothing any more")
    terminal.type("e")
    assert terminal.end() == 0
    visit = read_visit(next((tmp_path / "visits").glob("*.yaml")))
    assert (visit.reference, visit.purpose, visit.age_band) == ("A-1042", "walking", "adult")
    asked = load_rulebook(shipped_folder("rules")).questions
    assert all(answer != asked[one].alarming for one, answer in visit.answers.items())
    assert visit.pain is not None
    assert (visit.pain[0].site, visit.pain[0].score) == ("heel", 4)
    assert visit.feet.left.fpi is not None
    assert visit.feet.right.fpi is not None
    assert visit.feet.left.fpi.items is not None
    assert visit.feet.right.fpi.items is not None
    assert visit.feet.left.fpi.items.scores() == [1] * 6
    assert visit.feet.right.fpi.items.scores() == [-1] * 6
    assert visit.body_mass_kg is None


def test_a_kill_at_any_answer_loses_nothing(tmp_path: Path) -> None:
    """Killed without warning after each of several answers, resume goes on at the next."""
    places = environment(tmp_path)
    terminal = Terminal(["visit", "new", "B-7"], places)
    answered = [
        ("Age band", "a", "adult"), ("open wound", "o", "one by one"), ("open wound", "n", "no"),
        ("hot, red", "n", "no"),
    ]  # fmt: skip
    for question, key, word in answered:
        terminal.wait_for(question)
        terminal.type(key)
        terminal.wait_for(f"= {word}")
        terminal.kill()
        terminal = Terminal(["visit", "resume", "B-7"], places)
    terminal.wait_for("fallen, twisted")
    terminal.kill()
    draft = json.loads((tmp_path / "visits/drafts/B-7.json").read_text())
    assert draft["tree"]["age-band"] == "adult"
    assert draft["tree"]["answers"] == {"open-wound": "no", "hot-swollen-foot": "no"}
    assert draft["at"] == "acute-injury"


@pytest.mark.skipif(sys.platform == "win32", reason="no such signals there")
@pytest.mark.parametrize("how", ["interrupt", "q", "closed"])
def test_leaving_keeps_what_was_typed(tmp_path: Path, how: str) -> None:
    """Ctrl-C, q and a closed terminal all leave a draft that resumes."""
    places = environment(tmp_path)
    terminal = Terminal(["visit", "new", "C-3"], places)
    terminal.wait_for("Age band")
    terminal.type("o")
    terminal.wait_for("open wound")
    if how == "closed":
        os.kill(terminal.pid, signal.SIGHUP)
        terminal.end()
    else:
        terminal.interrupt() if how == "interrupt" else terminal.type("q")
        terminal.wait_for("recommend visit resume C-3")
        assert terminal.end() == 0
    again = Terminal(["visit", "resume"], places)
    again.wait_for("Going on with C-3")
    again.wait_for("open wound")
    again.type("<")
    again.wait_for("[older] > ")
    again.interrupt()
    assert again.end() == 0


def stopped_at_a_wound(folder: Path) -> tuple[Terminal, str]:
    """An entry that came to a stop, and what was said of it."""
    terminal = Terminal(["visit", "new", "D-4"], environment(folder))
    terminal.wait_for("Age band")
    terminal.type("a")
    terminal.wait_for("open wound")
    terminal.type("o")
    terminal.wait_for("open wound")
    terminal.type("y")
    return terminal, terminal.wait_for("carry on for the record?")


def test_a_stop_is_said_at_once_and_ends_with_its_exit_code(tmp_path: Path) -> None:
    """The warning sign is answered before the next question, and the command returns 3."""
    terminal, said = stopped_at_a_wound(tmp_path)
    assert "STOP: An open wound" in said
    assert "hot, red" not in said
    terminal.type("e")
    assert terminal.end() == 3


def test_no_line_is_wider_than_the_terminal_and_nothing_is_coloured(tmp_path: Path) -> None:
    """At 80 columns all lines fit, and no escape sequence is written."""
    terminal = Terminal(["visit", "new", "E-5"], environment(tmp_path))
    text, typed = terminal.wait_for("-- Screening"), False
    while not typed:  # every step of the screening; the last, where it hurts, takes a line
        text += (shown := terminal.wait_for("> "))
        typed = "Where does it hurt?" in shown
        terminal.type("?\n" if typed else "?")
        text += terminal.wait_for("> ")
        terminal.type("\n" if typed else "x")
    text += terminal.wait_for("So far:")
    terminal.kill()
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text


def test_keys_and_their_words_stay_together_at_eighty_columns(tmp_path: Path) -> None:
    """Hints and answers that do not fit beside each other go on lines of their own."""
    terminal = Terminal(["visit", "new", "E-6"], environment(tmp_path))
    text = ""
    for question, keys in (
        ("Age band", ">"), ("Who asks", ">\n"), ("Talar head", ">"), ("Foot length", ">\n"),
        ("A capture file", "\n"), ("print taken?", ">"), ("walking or running?", "\n"),
        ("measured from?", ""),
    ):  # fmt: skip
        text += terminal.wait_for(question)
        text += terminal.wait_for("> ")
        terminal.type(keys)
    terminal.type("s")
    text += terminal.wait_for("= subtalar-neutral")
    text += terminal.wait_for("> ")
    terminal.kill()
    assert max(map(len, text.splitlines())) <= 80
    for pair in ("v vertical", "r relaxed-standing", "s subtalar-neutral"):
        assert pair in text


def test_after_a_stop_nothing_leads_on_to_measuring(tmp_path: Path) -> None:
    """Who carries on for the record is not told what to film next."""
    terminal, said = stopped_at_a_wound(tmp_path)
    terminal.type("c")
    said += terminal.wait_for("hot, red")
    terminal.type(">")
    said += terminal.wait_for("Who asks")
    terminal.type(">\n")
    said += terminal.wait_for("-- Standing posture")
    assert "So far" in said
    assert "Next, both feet" not in said
    terminal.kill()


def test_two_terminals_do_not_write_one_draft(tmp_path: Path) -> None:
    """The second terminal is told, and the first goes on."""
    places = environment(tmp_path)
    first = Terminal(["visit", "new", "F-6"], places)
    first.wait_for("Age band")
    second = Terminal(["visit", "resume", "F-6"], places)
    second.wait_for("another terminal")
    assert second.end() == 2
    first.type("a")
    first.wait_for("= adult")
    first.kill()


def test_a_stopped_program_goes_on_with_keys(tmp_path: Path) -> None:
    """Ctrl-Z and fg: the shell leaves a mode of its own, and one key answers all the same."""
    import termios

    terminal = Terminal(["visit", "new", "G-7"], environment(tmp_path))
    terminal.wait_for("Age band")
    terminal.wait_for("> ")
    os.kill(terminal.pid, signal.SIGSTOP)
    os.waitpid(terminal.pid, os.WUNTRACED)  # until it has stopped
    modes = termios.tcgetattr(terminal.file)
    modes[3] |= termios.ICANON | termios.ECHO
    termios.tcsetattr(terminal.file, termios.TCSANOW, modes)
    os.kill(terminal.pid, signal.SIGCONT)
    terminal.wait_for_mode(lambda modes: not modes[3] & termios.ICANON)
    terminal.type("a")
    terminal.wait_for("= adult")
    terminal.kill()


def test_setup_explains_goes_back_and_refuses_what_cannot_be(tmp_path: Path) -> None:
    """? explains, < goes back, Enter keeps what stands; a wrong word is asked again."""
    terminal = Terminal(["setup"], environment(tmp_path))
    shelf = str(tmp_path / "shelf")
    for question, answer in (
        ("Name of the shop", "?"), ("head of the page", "Mill Lane"), ("Language", "de"),
        ("Folder of your catalogue", "<"), ("[de]", ""), ("Folder of your catalogue", ""),
        ("Stock list", ""), ("Folder for visit files", shelf), ("Folder of the rules", ""),
        ("Keep every shortlist", ""), ("File of the records", ""), ("Code of the fitter", "F2"),
        ("Size system", "british"), ("Size system", "uk"), ("measured from", "relaxed-standing"),
        ("Readings that the shop takes", ""), ("Left and right", ""),
    ):  # fmt: skip
        terminal.wait_for(question)
        terminal.wait_for("> ")
        terminal.type(f"{answer}\n")
    assert terminal.end() == 0
    written = tomllib.loads((tmp_path / "settings.toml").read_text())
    assert written == {
        "shop": "Mill Lane",
        "language": "de",
        "visits": shelf,
        "keep": "yes",
        "fitter": "F2",
        "sizes": "uk",
        "measured-from": "relaxed-standing",
    }
