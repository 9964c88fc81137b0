"""Measures written into a visit file, and captures named inside one."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from recommend.errors import InputError
from recommend.measure.capture import CaptureOptions, measure_capture, sha256_of
from recommend.measure.doubts import cross_checked
from recommend.measure.into import write_into
from recommend.measure.named import read_measured_visit
from recommend.measure.observed import observe
from recommend.rulebook import load_rulebook
from recommend.visit import read_visit
from tests.reading.corpus import run_in_process

DEMO = Path(__file__).parents[2] / "catalogue_demo"
VISIT = """\
# an invented visit
reference: T-1   # a code
purpose: walking
feet:
  left:
    foot-length-mm: 262   # heel to longest toe
    arch-index: {value: 0.21, kind: ink, load: static}  # from paper
    rearfoot:
      - gait: walking
        reference: vertical
        contact: [9.9, 9.8]  # old reading
    # the next foot follows
  right: {}
remarks: "keep me"
"""


def put(path, found) -> tuple[str, ...]:
    """Write captures into a visit by the shipped parameters."""
    return write_into(path, found, load_rulebook(DEMO.parent / "rules").parameters)


@pytest.fixture
def folder(tmp_path):
    """A folder with a visit and two captures."""
    (tmp_path / "captures").mkdir()
    for name in ("walk-left.csv", "video-left.csv", "video-right.csv"):
        shutil.copy(DEMO / "captures" / name, tmp_path / "captures" / name)
    (tmp_path / "visit.yaml").write_text(VISIT)
    return tmp_path


@pytest.fixture
def measured(folder, parameters, defs):
    """Measure one capture of the folder."""
    return lambda name: measure_capture(folder / "captures" / name, parameters, defs)


def test_comments_order_and_other_lines_stay(folder, measured):
    """Writing one foot's angles changes those lines and adds the capture, nothing else."""
    put(folder / "visit.yaml", measured("video-left.csv"))

    text = (folder / "visit.yaml").read_text()
    old, new = set(VISIT.splitlines()), set(text.splitlines())
    assert old - new == {"        contact: [9.9, 9.8]  # old reading"}
    assert text.index("feet:") < text.index("remarks:") < text.index("\ncaptures:")
    contact = next(line for line in text.splitlines() if "contact:" in line)
    assert "# ±" in contact
    assert "video-left.csv" in contact


def test_what_is_written_reads_back_as_the_measure(folder, measured, book, parameters):
    """Strides, COP pattern and index read back through the visit; the mean agrees to rounding."""
    (video,), (mat,) = measured("video-left.csv"), measured("walk-left.csv")
    put(folder / "visit.yaml", (video, mat))

    visit = read_visit(folder / "visit.yaml")
    used = observe(visit, book.measures, parameters).used["left"]
    assert used["contact-angle"].value == pytest.approx(video.find("contact-angle").value, abs=0.05)
    assert used["contact-angle"].n == 8
    assert used["cop-pattern"].value == mat.find("cop-pattern").value
    assert used["cpei"].value == pytest.approx(mat.find("cpei").value, abs=0.05)


def test_error_number_method_and_doubts_travel_as_data(folder, defs, book, parameters):
    """What the visit gives rules is what the capture stated: nothing is computed again."""
    shutil.copy(DEMO / "captures/video-doubtful-left.csv", folder / "captures")
    (film,) = measure_capture(folder / "captures/video-doubtful-left.csv", parameters, defs)
    put(folder / "visit.yaml", (film,))

    used = observe(read_visit(folder / "visit.yaml"), book.measures, parameters).used["left"]
    for name in ("touchdown-angle", "peak-angle", "peak-time", "rearfoot-range", "rearfoot-return"):
        stated, read = film.find(name), used[name]
        assert read.value == pytest.approx(stated.value, abs=1e-4)
        assert read.error == pytest.approx(stated.error, rel=0.005), name
        assert read.n == stated.n
        assert read.method.endswith("video-doubtful-left.csv")
        assert {f.name: f.effect for f in stated.flags}.items() <= {
            f.name: f.effect for f in read.flags
        }.items()
    assert any(flag.name == "gaps-bridged" and flag.detail for flag in used["peak-angle"].flags)


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (["shortlist"], "error widened: marks swapped, gaps bridged"),
        (["shortlist", "--show", "measures"], "were bridged by straight lines"),
        (["sheet", "--to", "page.html"], "Left foot: these numbers are less sure than usual"),
    ],
)
def test_a_doubtful_film_is_told_wherever_its_numbers_stand(
    folder, parameters, defs, monkeypatch, command, words
):
    """Screen, readings and page say that the left film was mended; a clean one says nothing."""
    monkeypatch.chdir(folder)
    shutil.copy(DEMO / "visits/pronated.yaml", "visit.yaml")
    for name in ("video-doubtful-left.csv", "video-left.csv"):
        film = measure_capture(DEMO / "captures" / name, parameters, defs)
        put(folder / "visit.yaml", film)
        done = run_in_process([command[0], "visit.yaml", *command[1:]])
        page = Path("page.html").read_text() if command[0] == "sheet" else ""
        assert (words in " ".join((done.stdout + page).split())) is ("doubtful" in name)


def test_a_value_written_by_hand_since_counts_and_says_so(folder, measured, book, parameters):
    """Strides changed by hand after the capture are read as written, with a flag."""
    put(folder / "visit.yaml", measured("video-left.csv"))
    text = (folder / "visit.yaml").read_text()
    line = next(line for line in text.splitlines() if line.strip().startswith("peak:"))
    (folder / "visit.yaml").write_text(text.replace(line, "        peak: [9.0, 9.2]"))

    used = observe(read_visit(folder / "visit.yaml"), book.measures, parameters).used["left"]
    assert used["peak-angle"].value == pytest.approx(9.1)
    assert "differs-from-capture" in {flag.name for flag in used["peak-angle"].flags}
    assert "differs-from-capture" not in {flag.name for flag in used["midstance-angle"].flags}


def test_what_a_new_film_cannot_tell_is_taken_out(folder, measured):
    """An angle of an earlier film of the same gait and zero does not stay beside the new one."""
    put(folder / "visit.yaml", measured("video-left.csv"))
    path = folder / "captures/video-left.csv"
    lines = path.read_text().splitlines()
    head = [line.replace("rate-hz: 60", "rate-hz: 20") for line in lines if line.startswith("#")]
    rows = [line for line in lines if not line.startswith("#")]
    slow = [rows[0], *(f"{n},{row.partition(',')[2]}" for n, row in enumerate(rows[1::3]))]
    path.write_text("\n".join([*head, *slow]) + "\n")
    done = put(folder / "visit.yaml", measured("video-left.csv"))

    foot = read_visit(folder / "visit.yaml").feet.left
    assert foot.rearfoot[0].touchdown is None
    assert foot.rearfoot[0].midstance is not None
    assert "touchdown-angle" not in {one.measure for one in foot.from_captures}
    assert any("took out touchdown" in sentence for sentence in done)


def test_lines_that_nothing_is_written_on_stay_byte_for_byte(folder, measured):
    """Odd wraps, spacing and comments of the other foot are not printed anew."""
    odd = VISIT.replace(
        "  right: {}\n",
        "  right:\n    cop:\n        path-mm: [[0.0, 10.0], [1, 20], [2, 40],\n"
        "            [2.0, 60], [1, 100], [0, 200]]   # odd wraps\n",
    )
    (folder / "visit.yaml").write_text(odd)
    put(folder / "visit.yaml", measured("video-left.csv"))

    text = (folder / "visit.yaml").read_text()
    for line in odd.splitlines():
        if "contact:" not in line:
            assert line + "\n" in text, line


@pytest.mark.parametrize(
    ("line", "name", "kept"),
    [
        ("body-mass-kg: 71\n", None, True),
        ("body-mass-kg: 8\n", "unit-doubtful", False),
        ("body-mass-kg: 200\n", "force-unlike-weight", False),
    ],
)
def test_force_on_the_mat_is_held_against_body_mass(
    folder, measured, book, parameters, line, name, kept
):
    """A foot that bears nothing like the body's weight has no arch index of the mat."""
    path = folder / "visit.yaml"
    path.write_text(VISIT.replace("purpose:", line + "purpose:").replace(", kind: ink", ""))
    path.write_text(path.read_text().replace(
        "    arch-index: {value: 0.21, load: static}  # from paper\n", ""))  # fmt: skip
    put(path, measured("walk-left.csv"))

    visit = read_visit(path)
    assert (visit.feet.left.arch_index is not None) is kept
    said = {doubt.name for capture in visit.captures for doubt in capture.doubts}
    assert name in said if name and visit.captures else not said


@pytest.mark.parametrize(
    ("length", "name"), [(200, "longer-than-foot"), (330, "shorter-than-foot"), (262, None)]
)
def test_the_mat_is_held_against_the_length_of_the_foot(folder, measured, length, name):
    """A footprint longer than the foot, or far shorter, is named as such and nothing else is."""
    path = folder / "visit.yaml"
    path.write_text(VISIT.replace("262 ", f"{length} "))
    done = put(path, measured("walk-left.csv"))

    said = {doubt.name for one in read_visit(path).captures for doubt in one.doubts}
    for word in ("longer-than-foot", "shorter-than-foot"):
        assert (word in said or word in " ".join(done)) is (word == name), word


def test_half_the_pitch_is_named_where_the_foot_was_measured(folder, measured, parameters):
    """A mat whose foot is half as long as the tape's says its pitch is wrong, not the foot."""
    (mat,) = measured("walk-left.csv")
    length = mat.find("footprint-length")
    half = replace(mat, measures=(replace(length, value=length.value / 2),))
    (checked,) = cross_checked([half], read_visit(folder / "visit.yaml"), parameters.capture)

    assert [flag.name for flag in checked.flags if "pitch-mm" in flag.detail] == [
        "shorter-than-foot"
    ]


def test_the_capture_is_kept_with_its_hash_and_reaches_the_measure(
    folder, measured, book, parameters
):
    """The visit lists file, hash and side; the measure read from it carries that hash."""
    put(folder / "visit.yaml", measured("video-left.csv"))

    digest = sha256_of(folder / "captures/video-left.csv")
    visit = read_visit(folder / "visit.yaml")
    assert visit.captures[0].file == "captures/video-left.csv"
    assert (visit.captures[0].sha256, visit.captures[0].side) == (digest, "left")
    used = observe(visit, book.measures, parameters).used["left"]
    assert used["contact-angle"].capture == digest
    assert used["foot-length"].capture is None


def test_an_ink_arch_index_is_not_replaced_by_that_of_a_mat(folder, measured):
    """The two are different scales; the one from paper stays, and it is said."""
    done = put(folder / "visit.yaml", measured("walk-left.csv"))

    assert (
        "arch-index: {value: 0.21, kind: ink, load: static}  # from paper"
        in (folder / "visit.yaml").read_text()
    )
    assert any("kept the arch index that stands there" in sentence for sentence in done)


def test_writing_twice_is_writing_once(folder, measured):
    """The same capture written again leaves the same file."""
    found = measured("video-left.csv")
    put(folder / "visit.yaml", found)
    once = (folder / "visit.yaml").read_text()
    put(folder / "visit.yaml", found)

    assert (folder / "visit.yaml").read_text() == once


def test_a_visit_in_json_is_written_too(folder, measured):
    """JSON has no comments to keep; the measures and the hash are written all the same."""
    path = folder / "visit.json"
    path.write_text('{"reference": "T-2", "feet": {"right": {}}}')
    put(path, measured("video-right.csv"))

    visit = read_visit(path)
    assert len(visit.feet.right.rearfoot[0].contact) == 8
    assert visit.captures[0].side == "right"


def test_a_shod_capture_is_refused_and_nothing_is_written(folder, parameters, defs):
    """A reading in a shoe does not belong to the bare foot of a visit."""
    path = folder / "captures/video-left.csv"
    path.write_text(path.read_text().replace("condition: barefoot", "condition: shoe-x"))
    found = measure_capture(path, parameters, defs)

    with pytest.raises(InputError, match="taken in `shoe-x`"):
        put(folder / "visit.yaml", found)
    assert (folder / "visit.yaml").read_text() == VISIT


def test_a_capture_named_in_a_visit_is_measured_when_read(folder, book, parameters):
    """A capture named without its hash reads as if it had been written; the file stays."""
    path = folder / "visit.yaml"
    path.write_text(VISIT + "captures:\n  - file: captures/video-right.csv\n")
    before = path.read_text()

    visit = read_measured_visit(path, book.questions, parameters, book.measures, book.purposes)

    assert len(visit.feet.right.rearfoot[0].contact) == 8
    assert visit.captures[0].sha256 == sha256_of(folder / "captures/video-right.csv")
    assert path.read_text() == before


def test_a_changed_capture_is_refused_an_absent_one_is_not(folder, measured, book, parameters):
    """With its hash in the visit, a capture may be away but not be another."""
    path = folder / "visit.yaml"
    put(path, measured("video-left.csv"))
    capture = folder / "captures/video-left.csv"

    capture.write_text(capture.read_text() + "\n")
    with pytest.raises(InputError, match="has changed since its measures were written"):
        read_measured_visit(path, book.questions, parameters, book.measures, book.purposes)
    capture.unlink()
    visit = read_measured_visit(path, book.questions, parameters, book.measures, book.purposes)
    assert len(visit.feet.left.rearfoot[0].contact) == 8


def test_a_named_capture_that_is_missing_is_said_with_its_name(folder, book, parameters):
    """A capture without hash must be there."""
    path = folder / "visit.yaml"
    path.write_text(VISIT + "captures:\n  - file: captures/gone.csv\n")

    with pytest.raises(InputError, match=r"gone\.csv: there is no such file"):
        read_measured_visit(path, book.questions, parameters, book.measures, book.purposes)


def test_side_on_the_command_line_must_agree_with_the_head(folder, parameters, defs):
    """A contradiction between head and option is refused, not decided."""
    path = folder / "captures/video-left.csv"
    with pytest.raises(InputError, match="the head says `side: left`, you say right"):
        measure_capture(path, parameters, defs, CaptureOptions(side="right"))


def test_the_demo_visit_of_captures_reads_all_four(book, parameters):
    """The demo visit that names its captures has COP and angles of both feet."""
    path = DEMO / "captures" / "from-captures.yaml"
    visit = read_measured_visit(path, book.questions, parameters, book.measures, book.purposes)

    for foot in (visit.feet.left, visit.feet.right):
        assert foot.cop.pattern == "central"
        assert len(foot.rearfoot[0].contact) == 8
