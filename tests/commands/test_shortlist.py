"""`recommend shortlist` on every demo visit: exit codes, the one screen, sections, widths, JSON."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

from tests.reading.corpus import Result, run_in_process
from tests.shipped import book

VISITS = Path(__file__).parents[2] / "catalogue_demo" / "visits"
NAMES = sorted(file.stem for file in VISITS.glob("*.yaml"))
# From the visits' own stories: one must stop at a red flag.
STOPS = {"red-flag-stop"}


def kinds(document: dict[str, Any]) -> list[dict[str, Any]]:
    """What a shortlist says of shoes, insoles and pairs; nothing when a stop withholds it."""
    shortlist = document["shortlist"] or {}
    return [shortlist[kind] for kind in ("shoe", "insole", "pair") if kind in shortlist]


@cache
def run(name: str, *options: str, columns: int = 80, **env: str) -> Result:
    """Run the command on a demo visit, not at a terminal."""
    clean = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR")}
    with mock.patch.dict(os.environ, {**clean, "COLUMNS": str(columns), **env}, clear=True):
        return run_in_process(["shortlist", str(VISITS / f"{name}.yaml"), *options])


@pytest.mark.parametrize("name", NAMES)
def test_the_exit_code_tells_how_it_ended(name: str) -> None:
    """0 with a shortlist, 3 when a stop withholds it, 4 when nothing suits; no noise."""
    done = run(name)
    assert done.code in ({3} if name in STOPS else {0, 4})
    assert done.stderr == ""
    shown = json.loads(run(name, "--json").stdout)
    assert (done.code == 3) == shown["stopped"]
    if not shown["stopped"]:
        some = any(group["suitable"] for group in kinds(shown))
        assert done.code == (0 if some else 4)


def test_a_shop_without_anything_that_suits_ends_with_exit_4(tmp_path: Path) -> None:
    """One shoe, sold out: nothing suits feet that need support, which is exit code 4, not 0.

    The code is what README.md promises of it.
    """
    shoe = "{id: one, kind: shoe, title: One, price: 50, attributes: {drop: 8}, stock: {265: 0}}"
    (tmp_path / "one.yaml").write_text(f"title: one\ncurrency: EUR\nproducts: [{shoe}]\n")
    done = run("pronated", "--catalogue", str(tmp_path))
    assert (done.code, done.stderr) == (4, "")
    assert "nothing suits" in done.stdout
    shown = json.loads(run("pronated", "--json", "--catalogue", str(tmp_path)).stdout)
    assert not any(group["suitable"] for group in kinds(shown))


@pytest.mark.parametrize("name", NAMES)
def test_notes_come_before_measures_and_measures_before_products(name: str) -> None:
    """The sections stand in the order a fitter reads; a stop shows no product."""
    out = run(name, "--full").stdout
    first, measured, kind = (
        out.index(title) for title in ("First", "What was measured", "What kind of feet")
    )
    assert first < measured < kind
    document = json.loads(run(name, "--json").stdout)
    for note in document["notes"]:
        assert " ".join(note["say"].split())[:40] in " ".join(out[:measured].split())
    products = [
        member["id"]
        for kind in kinds(document)
        for equals in kind["groups"]
        for member in equals["members"]
    ]
    assert (name in STOPS) <= (products == [])
    for caution in document["cautions"]:
        assert " ".join(caution.split()) in " ".join(out.split())


@pytest.mark.parametrize("name", NAMES)
def test_the_first_screen_is_the_answer(name: str) -> None:
    """Within 24 lines: every note by name, a line for each kind of foot, products with a price."""
    lines = run(name).stdout.splitlines()
    assert len(lines) <= 24
    flat = " ".join(" ".join(lines).split())
    document = json.loads(run(name, "--json").stdout)
    titles = {rule.id: rule.rule.title for rule in book().rules}
    for note in document["notes"]:
        said = " ".join(note["say"].split())
        assert said in flat or titles[note["rule"]] in flat
    if document["stopped"]:
        return
    for side in ("left", "right"):
        kind = document["feet"][side]["foot-type"]
        assert kind is None or kind["title"].lower() in flat.lower()
    if any(kind["groups"] for kind in kinds(document)):
        assert re.search(r"\d+\.\d\d EUR", flat)


@pytest.mark.parametrize("name", NAMES)
def test_a_stop_is_never_crowded_out(name: str) -> None:
    """A stop and a see-a-clinician note stand above feet, wants and products."""
    out = run(name).stdout
    document = json.loads(run(name, "--json").stdout)
    worst = {note["level"] for note in document["notes"]} - {"caution"}
    heads = {"stop": "STOP", "see-clinician": "SEE A CLINICIAN"}
    for level in worst:
        assert "Bring" not in out or out.index(heads[level]) < out.index("Bring")


def test_a_section_is_shown_by_its_name_and_a_wrong_name_is_told_the_nearest() -> None:
    """`--show` prints that part alone; what is no section ends with code 2 and the nearest."""
    shown = run("pronated", "--show", "wants").stdout
    assert "What the feet need, and why" in shown
    assert "What was measured" not in shown
    wrong = run("pronated", "--show", "want")
    assert wrong.code == 2
    assert "Did you mean `wants`?" in wrong.stderr


def test_a_weight_in_a_file_is_doubted_as_at_the_counter(tmp_path: Path) -> None:
    """205 kg cannot be asked about in a file, so the first screen says it is unusual."""
    file = tmp_path / "v.yaml"
    text = (VISITS / "plain-neutral.yaml").read_text("utf-8")
    assert "Doubt" not in run("plain-neutral").stdout
    file.write_text(re.sub(r"(?m)^body-mass-kg: .*$", "body-mass-kg: 205", text), "utf-8")
    said = run_in_process(["shortlist", str(file)]).stdout
    assert "The body mass would be 205 kg" in said
    assert len(said.splitlines()) < 24


@pytest.mark.parametrize("name", NAMES)
def test_no_demo_visit_is_doubted_at_the_first_glance(name: str) -> None:
    """Angles, sizes and weights of the invented customers are those of people."""
    assert not re.search(r"(?m)^ *Doubt ", run(name).stdout)


def test_an_angle_in_a_file_is_doubted_as_at_the_counter(tmp_path: Path) -> None:
    """A touchdown of 12 degrees rolled in, as few have it, stands on the first screen."""
    file = tmp_path / "v.yaml"
    film = "{gait: walking, reference: vertical, touchdown: [12, 12.5], peak: [13, 13.5]}"
    file.write_text(f"reference: QB-1\nfeet: {{left: {{rearfoot: [{film}]}}}}\n", "utf-8")
    lines = run_in_process(["shortlist", str(file)]).stdout.splitlines()
    said = " ".join(" ".join(lines).split())
    assert "Doubt Left: 12.2 degrees at touchdown, measured from vertical" in said
    assert len(lines) <= 24


@pytest.mark.parametrize("name", NAMES)
def test_no_choice_is_praised_for_what_it_falls_short_in(name: str) -> None:
    """What stands behind `for:` is another thing than what stands behind `against:`."""
    said = " ".join(run(name).stdout.split())
    for reason, against in re.findall(r"for: ([^;]+); against: ([^,;]+)", said):
        assert reason != against


def test_a_visit_is_called_by_its_reference_code(tmp_path: Path) -> None:
    """The code of the customer finds the newest visit of the folder; a wrong one, the nearest."""
    text = (VISITS / "pronated.yaml").read_text("utf-8")
    code = re.search(r"^reference: (\S+)", text, re.MULTILINE)
    assert code is not None
    (tmp_path / f"{code[1]}_2026-03-05.yaml").write_text(text, "utf-8")
    with mock.patch.dict(os.environ, {"RECOMMEND_VISITS": str(tmp_path)}):
        by_code = run_in_process(["shortlist", code[1], "--json"])
        wrong = run_in_process(["shortlist", code[1][:-1] + "x"])
    assert by_code.stdout == run("pronated", "--json").stdout
    assert wrong.code == 2
    assert code[1] in wrong.stderr


@pytest.mark.parametrize("columns", [80, 120])
@pytest.mark.parametrize("name", NAMES)
def test_no_line_is_wider_than_the_terminal(name: str, columns: int) -> None:
    """80 and 120 columns are never exceeded."""
    out = run(name, columns=columns).stdout + run(name, "--full", columns=columns).stdout
    wide = [line for line in out.splitlines() if len(line) > columns]
    assert wide == []


@pytest.mark.parametrize("name", NAMES)
def test_without_a_terminal_it_is_plain_text(name: str) -> None:
    """No escape sequence reaches a file or a pipe, with NO_COLOR or without."""
    plain = run(name)
    assert "\x1b" not in plain.stdout
    assert run(name, NO_COLOR="1").stdout == plain.stdout


def test_colour_carries_nothing_alone() -> None:
    """With colour asked for, the words are the same as without (a terminal fills its lines)."""
    coloured = run("pronated", FORCE_COLOR="1", TERM="xterm-256color").stdout
    assert "\x1b[" in coloured
    words = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
    assert re.sub(r" +$", "", words, flags=re.MULTILINE) == run("pronated").stdout


@pytest.mark.parametrize("name", NAMES)
def test_json_holds_what_is_printed_and_is_stable(name: str) -> None:
    """Ids, scores and foot types of the printed list stand in the JSON, byte for byte each time."""
    once = run(name, "--json")
    again = run(name, "--json", columns=120)
    assert once.stdout == again.stdout
    assert once.code == run(name).code
    document = json.loads(once.stdout)
    flat = " ".join(run(name, "--full").stdout.split())
    for side in ("left", "right"):
        kind = document["feet"][side]["foot-type"]
        assert kind is None or kind["title"][:20] in flat
    for kind in kinds(document):
        for equals in kind["groups"][:1]:
            for title in equals["members"][0]["titles"]:
                assert title[:20] in flat


@pytest.mark.parametrize("name", sorted(set(NAMES) - STOPS))
def test_a_reason_is_said_only_of_feet_it_is_true_of(name: str) -> None:
    """Two feet may ask the same for different reasons: each is told its own, as its rules say."""
    feet = json.loads(run(name, "--json").stdout)["feet"]
    words = {
        "left foot": {"left"}, "right foot": {"right"}, "both feet": {"left", "right"},
    }  # fmt: skip
    out = run(name, "--full", columns=400).stdout
    needs = out[out.index("What the feet need") : out.index("Shoes (in groups")]
    said = re.findall(r"^  (left foot|right foot|both feet): (.+?) *$", needs, re.MULTILINE)
    assert said
    reasons = {rule.id: rule.rule.because for rule in book().rules}
    for who, because in said:
        for side in words[who]:
            true = {d["rule"] for d in feet[side]["derivations"]}
            assert because in {reasons[rule] for rule in true}, (who, because)


def test_left_and_right_stand_side_by_side() -> None:
    """Both feet's values of a measure stand on one line, left before right."""
    document = json.loads(run("two-types", "--json").stdout)
    left, right = (
        next(m["value"] for m in document["feet"][side]["measures"] if m["name"] == "fpi")
        for side in ("left", "right")
    )
    assert left != right
    lines = run("two-types", "--show", "measures").stdout.splitlines()
    row = next(line for line in lines if "standing posture" in line)
    found = re.findall(r"[-+]?\d+", row)
    assert [int(n) for n in found if int(n) in (left, right)][:2] == [left, right]


def test_half_a_visit_still_gives_a_list_and_says_what_is_missing() -> None:
    """Missing is said as missing, open questions are asked, nothing is read as zero or no."""
    out = run("half-measured", "--full").stdout
    assert "not measured" in out
    assert "Still to ask" in out


def test_help_ends_with_an_example_that_can_be_pasted() -> None:
    """The example of the help runs as it stands."""
    help_text = subprocess.run(
        [sys.executable, "-m", "recommend", "shortlist", "--help"],
        capture_output=True, text=True, check=True, timeout=60,
    ).stdout  # fmt: skip
    example = re.search(r"Example: recommend (\S+) (\S+)", " ".join(help_text.split()))
    assert example is not None
    done = subprocess.run(
        [sys.executable, "-m", "recommend", *example.groups()],
        capture_output=True, text=True, check=False, timeout=60, cwd=VISITS.parents[1],
    )  # fmt: skip
    assert done.returncode == 0


def test_who_has_nothing_wrong_is_sold_nothing() -> None:
    """Where nothing measured or told asks for more, their own shoes and no insole come first."""
    for name in ("between-sizes", "child"):
        first = json.loads(run(name, "--json").stdout)["shortlist"]["pair"]["groups"][0]
        assert [member["id"] for member in first["members"]] == ["own-shoes+no-insole"]


def test_a_long_path_costs_the_screen_no_line_that_is_not_counted(tmp_path: Path) -> None:
    """A visit called by a path wider than the screen still leaves an answer of 24 lines."""
    deep = tmp_path / ("folder-of-the-shop-" * 3) / ("and-of-the-year-" * 3)
    deep.mkdir(parents=True)
    visit = deep / "visit.yaml"
    visit.write_bytes((VISITS / "pronated-high-arch-late-medial.yaml").read_bytes())
    with mock.patch.dict(os.environ, {"COLUMNS": "80"}):
        lines = run_in_process(["shortlist", str(visit)]).stdout.splitlines()
    assert len(lines) <= 24
    assert all(len(line) <= 80 for line in lines)
