"""A film of two drawn legs with known motion goes in; marks, measures and doubts come out."""

from __future__ import annotations

import hashlib
import os
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

av = pytest.importorskip("av")
cv2 = pytest.importorskip("cv2")

from recommend.errors import InputError  # noqa: E402
from recommend.measure.apart import GaveUpError, run_apart  # noqa: E402
from recommend.measure.capture import CaptureOptions, measure_capture  # noqa: E402
from recommend.measure.film import opening, reading  # noqa: E402
from recommend.measure.film.by_hand import put_right  # noqa: E402
from recommend.measure.film.following import starts_of  # noqa: E402
from recommend.measure.film.opening import Opened, spots_in  # noqa: E402
from recommend.measure.film.reading import FilmOptions, even, read_film  # noqa: E402
from recommend.measure.film.spots import spots_of  # noqa: E402
from tests import shipped  # noqa: E402
from tests.bench.drawn_films import in_this_process, one_film  # noqa: E402
from tests.bench.filmed_legs import Camera, Drawn, Scene, draw, pair_of  # noqa: E402
from tests.reading.corpus import run_in_process  # noqa: E402

SMALL = Camera(width=288, height=344, px_per_mm=0.7, moments=1)
SEED = 11


def film(
    folder: Path, camera: Camera = SMALL, scene: Scene | None = None, strides: int = 2
) -> Drawn:
    """A short film of walking."""
    rng = np.random.default_rng(SEED)
    people = pair_of(rng)
    return draw(folder / "walk.mp4", people, strides, rng, camera, scene or Scene(step_mm=140))


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> Drawn:
    """A clean film of both legs, about two strides each."""
    return film(tmp_path_factory.mktemp("film"))


@pytest.fixture(scope="module")
def opened(walk: Drawn) -> Opened:
    """The spots of that film, found once."""
    return spots_in(walk.path, shipped.book().parameters.film)


@pytest.fixture
def once(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    """Read the clean film without opening it again."""
    monkeypatch.setattr(reading, "spots_in", lambda *_: opened)


def read(drawn: Drawn, **options):
    """The film read with the shipped parameters."""
    kept = {name: options.pop(name) for name in ("side", "gait") if name in options}
    asked = CaptureOptions(film=FilmOptions(**options), **kept)
    return read_film(drawn.path, shipped.book().parameters.film, asked)


@pytest.mark.usefixtures("once")
def test_every_mark_is_found_where_it_was_drawn(walk: Drawn) -> None:
    """Centres lie within a third of a pixel of the drawn ones, and times are those of the film."""
    found = read(walk)
    assert set(found.marked) == {"left", "right"}
    for side, one in found.marked.items():
        off = np.hypot(*np.moveaxis(one.rows[..., :2] - walk.marks[side], -1, 0))
        assert np.isnan(off).mean() < 0.02
        assert np.sqrt(np.nanmean(off**2)) < 0.33
        assert np.nanmax(off) < 2.0
    assert np.allclose(found.opened.spots.times, walk.times - walk.times[0], atol=1e-3)


@pytest.mark.usefixtures("once")
def test_what_is_measured_holds_the_known_motion(walk: Drawn) -> None:
    """The truth of the drawn legs lies within three standard errors of every measure."""
    book = shipped.book()
    found = measure_capture(walk.path, book.parameters, book.measures)
    assert [one.side for one in found] == ["left", "right"]
    for one in found:
        assert one.sha256 == hashlib.sha256(walk.path.read_bytes()).hexdigest()
        for name in ("peak-angle", "rearfoot-range", "peak-time", "midstance-angle"):
            measure = one.find(name)
            assert measure is not None, (one.flags, name)
            assert abs(measure.value - walk.truth[one.side][name]) < 3 * measure.error, name


def test_saved_marks_give_the_same_measures_as_the_film(walk: Drawn, tmp_path: Path) -> None:
    """The command writes sheet and marks; the marks alone give each measure, error and doubt."""
    path = tmp_path / "walk.mp4"
    shutil.copy(walk.path, path)
    by_hand = "left-lower-heel@30={:.1f},{:.1f}".format(*walk.marks["left"][29, 3])
    done = run_in_process(
        ["measure", str(path), "--marks", str(tmp_path / "m.csv"), "--put-right", by_hand]
    )
    assert done.code == 0, done.stderr
    assert (tmp_path / "walk.marks.png").read_bytes().startswith(b"\x89PNG")
    assert "look whether every ring" in done.stderr
    book = shipped.book()
    hand = CaptureOptions(film=FilmOptions(put_right=put_right([by_hand])))
    for one in measure_capture(path, book.parameters, book.measures, hand):
        saved = tmp_path / f"m-{one.side}.csv"
        assert hashlib.sha256(path.read_bytes()).hexdigest() in saved.read_text()
        (again,) = measure_capture(saved, book.parameters, book.measures)
        assert {f.name for f in again.flags} == {f.name for f in one.flags} >= {"put-right"}
        for measure in one.measures:
            other = again.find(measure.name)
            assert other is not None
            assert other.value == pytest.approx(measure.value, abs=0.1), measure.name
            assert other.error == pytest.approx(measure.error, rel=0.1), measure.name


@pytest.mark.usefixtures("once")
def test_a_mark_put_right_is_where_the_hand_says(walk: Drawn) -> None:
    """The pixel counts in its frame, a wrong one as well; `none` takes the mark away."""
    x, y = walk.marks["right"][40, 2] + [4, 0]
    words = [f"right-upper-heel@41={x:.1f},{y:.1f}", "left-upper-leg@12=none"]
    found = read(walk, put_right=put_right(words))
    assert found.marked["right"].rows[40, 2, :2] == pytest.approx([x, y], abs=0.06)
    assert np.isnan(found.marked["left"].rows[11, 0, 0])
    assert all("put-right" in {f.name for f in one.seen} for one in found.recordings)


@pytest.mark.usefixtures("once")
@pytest.mark.parametrize(("words", "says"), [
    (["--put-right", "upper-heal@3=1,2"], "upper-heel"),
    (["--put-right", "upper-heel@3"], "names no mark in a frame"),
    (["--put-right", "left-upper-heel@99999=1,2"], "has no frame 99999"),
    (["--put-right", "left-upper-heel@3=9999,2"], "outside the picture"),
    (["--plumb", "1,2"], "is not such a line"),
    (["--ruler", "1,2:3,4"], "is not such a line"),
    (["--ruler", "1,2:3,4=0"], "is not such a line"),
    (["--slow-motion", "6"], "check `--slow-motion`"),
])  # fmt: skip
def test_wrong_words_are_one_sentence(walk: Drawn, words: list[str], says: str) -> None:
    """Exit code 2, one line, with what would do."""
    done = run_in_process(["measure", str(walk.path), *words])
    assert (done.code, done.stdout) == (2, "")
    assert says in done.stderr.splitlines()[-1]
    assert "Traceback" not in done.stderr


def test_damaged_and_foreign_files_are_one_sentence(walk: Drawn, tmp_path: Path) -> None:
    """Noise, a film cut short before its index, an empty file: one sentence with a place."""
    whole = walk.path.read_bytes()
    files = {
        "noise": np.random.default_rng(0).bytes(5000),
        "cut": whole[: len(whole) // 3],
        "empty": b"",
    }
    for name, data in files.items():
        path = tmp_path / f"{name}.mp4"
        path.write_bytes(data)
        done = run_in_process(["measure", str(path)])
        assert (done.code, done.stdout) == (2, ""), name
        assert f"{name}.mp4: the film cannot be read" in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1
    numbers = shipped.book().parameters
    with pytest.raises(InputError, match="288 x 344 px"):
        read_film(walk.path, numbers.changed({"film.pixels": 1000}).film, CaptureOptions())
    with pytest.raises(InputError, match="more than 20 frames"):
        read_film(walk.path, numbers.changed({"film.frames": 20}).film, CaptureOptions())


def test_a_film_with_a_damaged_tail_says_how_much_is_lost(walk: Drawn, tmp_path: Path) -> None:
    """What can be decoded is read; the share that cannot is a doubt with a name."""
    data = bytearray(walk.path.read_bytes())
    bad = slice(len(data) // 2, len(data) * 8 // 10)
    data[bad] = np.random.default_rng(1).bytes(bad.stop - bad.start)
    (tmp_path / "tail.mp4").write_bytes(data)
    opened = spots_in(tmp_path / "tail.mp4", shipped.book().parameters.film)
    assert 0.1 < opened.lost < 0.8
    assert len(opened.spots.times) < 0.9 * len(walk.times)


def test_a_film_without_marks_is_no_film_of_legs(
    walk: Drawn, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The pattern of a leg in one frame of seven, as chance has it, is refused."""
    each = [one if k % 7 == 0 else one[:0] for k, one in enumerate(opened.spots.each)]
    by_chance = replace(opened, spots=replace(opened.spots, each=each))
    monkeypatch.setattr(reading, "spots_in", lambda *_: by_chance)
    with pytest.raises(InputError, match="in enough frames"):
        read(walk)


def test_a_process_that_says_nothing_is_ended() -> None:
    """Half a second of silence ends it, and the reason is said."""
    with pytest.raises(GaveUpError, match=r"0\.5 s"):
        run_apart("timeit", ["-n", "1", "-r", "1", "import time; time.sleep(30)"], quiet_s=0.5)


def test_a_cropped_copy_lacks_what_lies_above_the_row(walk: Drawn, tmp_path: Path) -> None:
    """The copy has the rows below, every frame at its time, and the film is as it was."""
    path = tmp_path / "walk.mp4"
    shutil.copy(walk.path, path)
    assert run_in_process(["measure", str(path), "--crop", "100"]).code == 0
    assert path.read_bytes() == walk.path.read_bytes()
    with av.open(str(tmp_path / "walk.below-100.mp4")) as copy, av.open(str(path)) as film:
        ours, theirs = (list(one.decode(video=0)) for one in (copy, film))
    assert (ours[0].height, ours[0].width) == (244, 288)
    assert [f.time for f in ours] == pytest.approx([f.time for f in theirs], abs=1e-3)
    grey = [f.to_ndarray(format="gray").astype(float) for f in (ours[30], theirs[30])]
    assert np.abs(grey[0] - grey[1][100:]).mean() < 3


def test_a_turned_film_with_uneven_frames_is_read_upright(tmp_path: Path) -> None:
    """A quarter turn and late frames: the same marks after turning, and both are said."""
    drawn = film(tmp_path, replace(SMALL, turned=1, jitter=0.7), strides=1)
    found = read(drawn)
    one = found.marked["right"]
    flags = {flag.name for flag in found.recordings[1].seen}
    assert {"film-turned", "uneven-frames"} <= flags
    x, y = drawn.marks["right"][..., 0], drawn.marks["right"][..., 1]  # turned once to the left
    there = np.stack([SMALL.width - 1 - y, x], axis=-1)
    off = np.hypot(*np.moveaxis(one.rows[..., :2] - there, -1, 0))
    assert np.nanmax(off) < 2.0


def test_a_leg_that_lost_a_mark_is_never_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one mark fallen off only the other leg is left, and it is not said which it is."""
    scene = Scene(step_mm=140, missing=(("left", "lower-heel"),))
    drawn = film(tmp_path, scene=scene, strides=1)
    opened = spots_in(drawn.path, shipped.book().parameters.film)
    monkeypatch.setattr(reading, "spots_in", lambda *_: opened)
    with pytest.raises(InputError, match="--side"):
        read(drawn)
    (one,) = read(drawn, side="right").recordings
    off = np.hypot(*np.moveaxis(one.points * [1, -1] - drawn.marks["right"], -1, 0))
    assert np.nanmax(off) < 2.0


def test_spoilt_films_show_no_wrong_mark_without_a_doubt(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A short form of ``tests.bench.drawn_films hard``: on its spot, missing or doubted."""
    monkeypatch.setattr(opening, "run_apart", in_this_process)
    # turned, few frames, legs that cross; marks cut by the other leg's edge; marks of two legs
    for seed in (518, 21325, 21347):
        came = one_film(seed, 60, "walking", "hard", 2, shipped.book(), tmp_path)
        assert came.wrong == [], came


def test_uneven_times_are_led_on_to_even_ones() -> None:
    """A straight motion seen at uneven moments is straight on the grid; long gaps stay missing."""
    times = np.array([0.0, 0.018, 0.031, 0.05, 0.068, 0.15, 0.167])
    points = np.stack([100 * times, 50 - 20 * times], axis=-1)[:, None, :]
    grid, led = even(times, points, 60.0)
    assert np.allclose(np.diff(grid), 1 / 60)
    known = ~np.isnan(led[:, 0, 0])
    assert np.allclose(led[known, 0, 0], 100 * grid[known])
    assert not known[(grid > 0.07) & (grid < 0.148)].any()


@pytest.mark.parametrize(("leg", "order"), [(0, ["left", "right"]), (1, ["right", "left"])])
def test_a_fifth_mark_tells_left_from_right(
    walk: Drawn, opened: Opened, monkeypatch: pytest.MonkeyPatch, leg: int, order: list[str]
) -> None:
    """On the right of the picture it says that the film is mirrored, and it is turned back."""
    starts = starts_of(opened.spots, shipped.book().parameters.film)[leg]
    each = list(opened.spots.each)
    for frame, quad in starts.items():
        upper, lower = each[frame][quad[0]], each[frame][quad[1]]
        fifth = (upper + lower) / 2 + np.array([5.5 * opened.spots.radius, *[0] * 7])
        each[frame] = np.vstack([each[frame], fifth])
    marked = replace(opened, spots=replace(opened.spots, each=each))
    monkeypatch.setattr(reading, "spots_in", lambda *_: marked)
    found = read(walk)
    assert list(found.marked) == order
    at_left = next(one for one in found.recordings if one.side == order[0])
    assert ("film-mirrored" in {flag.name for flag in at_left.seen}) is (leg == 1)
    x = walk.marks["left"][:, 0, 0] * (-1 if leg else 1)
    assert np.nanmax(np.abs(at_left.points[:, 0, 0] - x)) < 2.0


# What is wrong with a film, by the doubt, or the refusal, that must name it.
SPOILT = {
    "motion-blur": (replace(SMALL, shutter_s=1 / 60, moments=6), Scene(step_mm=140)),
    "rolling-shutter": (SMALL, Scene(step_mm=140, passing=60)),
    "marks-faint": (SMALL, Scene(step_mm=140, marks=110, texture=2, freckles=0, light=0.1)),
    "marks-small": (replace(SMALL, width=160, height=190, px_per_mm=0.36), Scene(step_mm=140)),
    "second-person": (replace(SMALL, width=480), Scene(step_mm=140, bystander=True)),
}


@pytest.mark.parametrize("name", SPOILT)
def test_what_is_wrong_with_a_film_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Each fault drawn into a film of one stride raises its own doubt, or refuses the film."""
    monkeypatch.setattr(opening, "run_apart", in_this_process)
    drawn = film(tmp_path, *SPOILT[name], strides=1)
    try:
        told = [{f.name for f in one.seen} for one in read(drawn).recordings]
    except InputError as refusal:
        told = [{word for word in SPOILT if f"({word})" in str(refusal)}]
    assert all(name in one for one in told), told


@pytest.mark.usefixtures("once")
def test_a_clean_film_raises_none_of_these_doubts(walk: Drawn) -> None:
    """The same legs filmed as the manual asks for are not doubted at all."""
    assert [one.seen for one in read(walk).recordings] == [(), ()]


def test_legs_that_change_places_are_not_read(
    walk: Drawn, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Legs that pass through each other's place and stay there are refused as exchanged."""
    monkeypatch.setattr(reading, "spots_in", lambda *_: opened)
    clean = read(walk).marked
    count = len(opened.spots.times)
    over = np.clip(np.linspace(-1, 2, count), 0, 1)[:, None]
    apart = np.nanmean(clean["right"].rows[..., 0]) - np.nanmean(clean["left"].rows[..., 0])
    legs = [clean[side].rows.copy() for side in ("left", "right")]
    for leg, way in zip(legs, (1, -1), strict=True):
        leg[..., 0] += way * 2 * apart * over
    each = [one[~np.isnan(one[:, 0])] for one in np.concatenate(legs, axis=1)]
    crossed = replace(opened, spots=replace(opened.spots, each=each, size=(344, 600)))
    monkeypatch.setattr(reading, "spots_in", lambda *_: crossed)
    with pytest.raises(InputError, match=r"\(other-leg\)"):
        read(walk)


def test_legs_that_hide_each_other_in_turn_are_not_one_leg(
    walk: Drawn, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seen whole one at a time, now left and now right, the legs are not read as the side named."""
    each = list(opened.spots.each)
    for frame, here in enumerate(each):
        hidden = walk.marks["left" if frame % 60 < 30 else "right"][frame, 0]
        each[frame] = here[np.hypot(*(here[:, :2] - hidden).T) > 5]
    turns = replace(opened, spots=replace(opened.spots, each=each))
    monkeypatch.setattr(reading, "spots_in", lambda *_: turns)
    with pytest.raises(InputError, match=r"marks-covered.*`--side`"):
        read(walk, side="left")


def test_spots_unlike_the_marks_are_no_third_leg(
    walk: Drawn, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Large faint spots below each other, as an edge before a wall makes them, are left alone."""
    quad = starts_of(opened.spots, shipped.book().parameters.film)[0]
    each = list(opened.spots.each)
    for frame, leg in quad.items():
        beside = each[frame][list(leg)] * [1, 1, 1.6, 0.4, 1.6, 1, 1, 1] - [60, *[0] * 7]
        each[frame] = np.vstack([each[frame], beside])
    more = replace(opened, spots=replace(opened.spots, each=each))
    monkeypatch.setattr(reading, "spots_in", lambda *_: more)
    assert set(read(walk).marked) == {"left", "right"}


def test_a_picture_without_a_clear_spot_has_none() -> None:
    """A frame in which a place stands out, but not as a spot does, yields no spots."""
    y, x = np.mgrid[:120, :120]
    blot = (120.0 - 19.0 * (np.hypot(x - 60, y - 60) < 6)).astype(np.float32)
    picture = np.round(cv2.GaussianBlur(blot, (0, 0), 4)).astype(np.uint8)
    found = spots_of(picture, 3.0, shipped.book().parameters.film, bright=False)
    assert found.shape == (0, 8)


def test_slow_motion_gives_life_its_own_time(
    walk: Drawn, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A film that plays four times slower gives the same measures once that is said."""
    book = shipped.book()
    slow = replace(opened, spots=replace(opened.spots, times=4 * opened.spots.times))
    found = []
    for shot, factor in ((opened, 1.0), (slow, 4.0)):
        monkeypatch.setattr(reading, "spots_in", lambda *_, shot=shot: shot)
        options = CaptureOptions(film=FilmOptions(slow_motion=factor))
        found.append(measure_capture(walk.path, book.parameters, book.measures, options))
    for usual, slowed in zip(*found, strict=True):
        assert [(m.name, m.error) for m in usual.measures] == [
            (m.name, pytest.approx(m.error, rel=1e-6)) for m in slowed.measures
        ]
        assert [m.value for m in slowed.measures] == pytest.approx(
            [m.value for m in usual.measures], abs=1e-6
        )
    with pytest.raises(InputError, match="frames a second"):
        read(walk)  # the slow film, and nobody said so


def test_quiet_standing_filmed_is_the_zero(
    walk: Drawn, opened: Opened, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """With a film of standing the angles stand on it, and lose the error of placing the marks."""
    book = shipped.book()
    monkeypatch.setattr(reading, "spots_in", lambda *_: opened)
    plain = measure_capture(walk.path, book.parameters, book.measures)
    whole = np.all([~one.missing.any(axis=1) for one in read(walk).marked.values()], axis=0)
    frame = int(np.flatnonzero(whole)[len(walk.times) // 3])
    still = [opened.spots.each[frame]] * len(opened.spots.each)
    standing = replace(opened, spots=replace(opened.spots, each=still))
    path = tmp_path / "standing.mp4"
    shutil.copy(walk.path, path)
    monkeypatch.setattr(reading, "spots_in", lambda file, *_: standing if file == path else opened)
    zeroed = measure_capture(walk.path, book.parameters, book.measures, CaptureOptions(still=path))
    for one, other in zip(plain, zeroed, strict=True):
        points = walk.marks[one.side][frame] * [1, -1]
        leg, heel = points[0] - points[1], points[2] - points[3]
        sign = 1 if one.side == "left" else -1  # eversion leans the heel to the midline
        lean = [sign * np.degrees(np.arctan2(line[0], line[1])) for line in (leg, heel)]
        before, after = one.find("peak-angle"), other.find("peak-angle")
        assert before is not None
        assert after is not None
        assert before.value - after.value == pytest.approx(lean[1] - lean[0], abs=1.5)
        assert after.qualifiers["reference"] == "relaxed-standing"
        assert after.error < before.error


def test_marks_put_right_in_a_file_are_those_of_the_command_line(tmp_path: Path) -> None:
    """One on each line, with notes and empty lines; a wrong line is told with its number."""
    words = ["left-upper-heel@12=3.5,4", "lower-leg@9=none"]
    path = tmp_path / "corrections.txt"
    path.write_text(f"# looked at twice\n{words[0]}\n\n  {words[1]}\n")
    assert put_right([str(path)]) == put_right(words)
    path.write_text(f"{words[0]}\nupper-heel 12 3 4\n")
    with pytest.raises(InputError, match=r"corrections\.txt:2: .*names no mark in a frame"):
        put_right([str(path)])
    os.mkfifo(tmp_path / "pipe")
    for no_file in (tmp_path / "none.txt", tmp_path / "pipe", "/dev/zero", "a\0b"):
        with pytest.raises(InputError, match="neither a mark nor a file"):
            put_right([str(no_file)])
