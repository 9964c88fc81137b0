"""Measures written into a visit file, and captures named inside one."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from recommend.errors import InputError
from recommend.measure.capture import CaptureOptions, measure_capture, sha256_of
from recommend.measure.into import write_into
from recommend.measure.named import read_measured_visit
from recommend.measure.observed import observe
from recommend.visit import read_visit

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
    write_into(folder / "visit.yaml", measured("video-left.csv"))

    text = (folder / "visit.yaml").read_text()
    old, new = set(VISIT.splitlines()), set(text.splitlines())
    assert old - new == {"        contact: [9.9, 9.8]  # old reading"}
    assert text.index("feet:") < text.index("remarks:") < text.index("captures:")
    contact = next(line for line in text.splitlines() if "contact:" in line)
    assert "# ±" in contact
    assert "video-left.csv" in contact


def test_what_is_written_reads_back_as_the_measure(folder, measured, book, parameters):
    """Strides, COP pattern and index read back through the visit; the mean agrees to rounding."""
    (video,), (mat,) = measured("video-left.csv"), measured("walk-left.csv")
    write_into(folder / "visit.yaml", (video, mat))

    visit = read_visit(folder / "visit.yaml")
    used = observe(visit, book.measures, parameters).used["left"]
    assert used["contact-angle"].value == pytest.approx(video.find("contact-angle").value, abs=0.05)
    assert used["contact-angle"].n == 8
    assert used["cop-pattern"].value == mat.find("cop-pattern").value
    assert used["cpei"].value == pytest.approx(mat.find("cpei").value, abs=0.05)


def test_the_capture_is_kept_with_its_hash_and_reaches_the_measure(
    folder, measured, book, parameters
):
    """The visit lists file, hash and side; the measure read from it carries that hash."""
    write_into(folder / "visit.yaml", measured("video-left.csv"))

    digest = sha256_of(folder / "captures/video-left.csv")
    visit = read_visit(folder / "visit.yaml")
    assert visit.captures[0].file == "captures/video-left.csv"
    assert (visit.captures[0].sha256, visit.captures[0].side) == (digest, "left")
    used = observe(visit, book.measures, parameters).used["left"]
    assert used["contact-angle"].capture == digest
    assert used["foot-length"].capture is None


def test_an_ink_arch_index_is_not_replaced_by_that_of_a_mat(folder, measured):
    """The two are different scales; the one from paper stays, and it is said."""
    done = write_into(folder / "visit.yaml", measured("walk-left.csv"))

    assert (
        "arch-index: {value: 0.21, kind: ink, load: static}  # from paper"
        in (folder / "visit.yaml").read_text()
    )
    assert any("kept the arch index that stands there" in sentence for sentence in done)


def test_writing_twice_is_writing_once(folder, measured):
    """The same capture written again leaves the same file."""
    found = measured("video-left.csv")
    write_into(folder / "visit.yaml", found)
    once = (folder / "visit.yaml").read_text()
    write_into(folder / "visit.yaml", found)

    assert (folder / "visit.yaml").read_text() == once


def test_a_visit_in_json_is_written_too(folder, measured):
    """JSON has no comments to keep; the measures and the hash are written all the same."""
    path = folder / "visit.json"
    path.write_text('{"reference": "T-2", "feet": {"right": {}}}')
    write_into(path, measured("video-right.csv"))

    visit = read_visit(path)
    assert len(visit.feet.right.rearfoot[0].contact) == 8
    assert visit.captures[0].side == "right"


def test_a_shod_capture_is_refused_and_nothing_is_written(folder, parameters, defs):
    """A reading in a shoe does not belong to the bare foot of a visit."""
    path = folder / "captures/video-left.csv"
    path.write_text(path.read_text().replace("condition: barefoot", "condition: shoe-x"))
    found = measure_capture(path, parameters, defs)

    with pytest.raises(InputError, match="taken in `shoe-x`"):
        write_into(folder / "visit.yaml", found)
    assert (folder / "visit.yaml").read_text() == VISIT


def test_a_capture_named_in_a_visit_is_measured_when_read(folder, book, parameters):
    """A capture named without its hash reads as if it had been written; the file stays."""
    path = folder / "visit.yaml"
    path.write_text(VISIT + "captures:\n  - file: captures/video-right.csv\n")
    before = path.read_text()

    visit = read_measured_visit(path, book.questions, parameters, book.measures)

    assert len(visit.feet.right.rearfoot[0].contact) == 8
    assert visit.captures[0].sha256 == sha256_of(folder / "captures/video-right.csv")
    assert path.read_text() == before


def test_a_changed_capture_is_refused_an_absent_one_is_not(folder, measured, book, parameters):
    """With its hash in the visit, a capture may be away but not be another."""
    path = folder / "visit.yaml"
    write_into(path, measured("video-left.csv"))
    capture = folder / "captures/video-left.csv"

    capture.write_text(capture.read_text() + "\n")
    with pytest.raises(InputError, match="has changed since its measures were written"):
        read_measured_visit(path, book.questions, parameters, book.measures)
    capture.unlink()
    visit = read_measured_visit(path, book.questions, parameters, book.measures)
    assert len(visit.feet.left.rearfoot[0].contact) == 8


def test_a_named_capture_that_is_missing_is_said_with_its_name(folder, book, parameters):
    """A capture without hash must be there."""
    path = folder / "visit.yaml"
    path.write_text(VISIT + "captures:\n  - file: captures/gone.csv\n")

    with pytest.raises(InputError, match=r"gone\.csv: there is no such file"):
        read_measured_visit(path, book.questions, parameters, book.measures)


def test_side_on_the_command_line_must_agree_with_the_head(folder, parameters, defs):
    """A contradiction between head and option is refused, not decided."""
    path = folder / "captures/video-left.csv"
    with pytest.raises(InputError, match="the head says `side: left`, you say right"):
        measure_capture(path, parameters, defs, CaptureOptions(side="right"))


def test_the_demo_visit_of_captures_reads_all_four(book, parameters):
    """The demo visit that names its captures has COP and angles of both feet."""
    path = DEMO / "captures" / "from-captures.yaml"
    visit = read_measured_visit(path, book.questions, parameters, book.measures)

    for foot in (visit.feet.left, visit.feet.right):
        assert foot.cop.pattern == "central"
        assert len(foot.rearfoot[0].contact) == 8
