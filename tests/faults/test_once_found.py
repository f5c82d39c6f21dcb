"""What was found once and must not come back; what has its test elsewhere is not repeated here."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import av
import numpy as np
import pytest
from click.testing import CliRunner, Result

import posescore
from posescore.analysis.pipeline import Settings, pose_pass, track_of
from posescore.cli.main import IN_PART, _say_what_stayed, main
from posescore.errors import InputError, KeypointFileError, MissingPartError
from posescore.evaluation.poses3d.pose_set import load_pose_set
from posescore.footage import decoding
from posescore.footage.decoding import Damage, Upright, packets
from posescore.footage.opencv import cv2
from posescore.footage.reading import Footage
from posescore.footage.system_libraries import named_when_missing
from posescore.library.library import Library
from posescore.pose import passes
from posescore.pose.coco import read_coco
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.pose.track import Finding, FindingKind
from posescore.pose.track_file import read_track, write_track
from posescore.scoring.rules import RuleSet
from posescore.terms import Interval, Provenance, Step
from tests.faults.footage import CONTAINERS, N_FRAMES, Steady, film, read_all, whole
from tests.footage.clips import coded_picture, write_clip
from tests.library.samples import INFO, analysis, library_with_match
from tests.web.small_match import make_track

ROOT = str(Path(posescore.__file__).parents[1])


class Counting(Steady):
    """Counts how often it is asked."""

    asked = 0

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        self.asked += 1
        return super().estimate(picture, boxes)


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    path = tmp_path / "match.mp4"
    path.write_bytes(film(str(tmp_path)))
    return path


def said(*given: str | Path) -> Result:
    return CliRunner().invoke(main, list(map(str, given)))


# A read that failed is not kept ------------------------------------------------------------------
def test_analyse_again_reads_afresh(clip: Path, tmp_path: Path) -> None:
    estimator, poses = Counting(), tmp_path / "poses"
    pose_pass(Footage(clip), estimator, poses=poses)
    first = estimator.asked
    pose_pass(Footage(clip), estimator, poses=poses)
    assert estimator.asked == first, "kept"
    pose_pass(Footage(clip), estimator, Settings(afresh=True), poses)
    assert estimator.asked == 2 * first


def broken_off(version: int, end_s: float) -> object:
    """An analysis as a program of that following version made it of footage that broke off."""
    gone = [
        Finding(FindingKind.ATHLETE_MISSING, Interval(22.0, end_s), 1.0, f"{who} was not found.")
        for who in "AB"
    ]
    made = Provenance("0.1.0", (Step("follow", {"version": version}),))
    return replace(analysis(), findings=tuple(gone), provenance=made)


@pytest.mark.parametrize(
    ("version", "end_s", "doubted"), [(8, 60, True), (9, 60, False), (8, 40, False)]
)
def test_an_old_analysis_that_broke_off_asks_to_be_made_again(
    tmp_path: Path, version: int, end_s: float, doubted: bool
) -> None:
    with Library(tmp_path) as library:
        match = library_with_match(tmp_path / "other")[1]
        match = library.add_match(match.info)
        library.save_analysis(match.id, broken_off(version, end_s))  # type: ignore[arg-type]
        doubt = library.standings([library.match(match.id)])[match.id].doubt
        assert ("analyse the match again" in doubt) == doubted


# One bad picture ---------------------------------------------------------------------------------
def test_a_folder_goes_on_past_what_cannot_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pictures = tmp_path / "pictures"
    pictures.mkdir()
    for name in ("a.png", "b.png", "d.png"):
        cv2.imwrite(str(pictures / name), np.full((240, 320, 3), 90, np.uint8))
    (pictures / "c.png").write_bytes((pictures / "a.png").read_bytes()[:60])
    monkeypatch.setattr(passes, "opened_estimator", lambda *_, **__: _Opened())
    done = said("pose", pictures, "--out", tmp_path / "out.json")
    assert done.exit_code == IN_PART == 3
    assert "left out" in done.stderr
    assert "c.png" in done.stderr
    assert len(read_coco(tmp_path / "out.json")) == 3
    for name in ("a.png", "b.png", "d.png"):
        (pictures / name).write_bytes(b"nothing")
    done = said("pose", pictures, "--out", tmp_path / "none.json")
    assert isinstance(done.exception, SystemExit)
    assert done.exit_code == 2
    assert not (tmp_path / "none.json").exists()


class _Opened:
    def __enter__(self) -> Steady:
        return Steady()

    def __exit__(self, *_: object) -> None:
        pass


# Nothing is ignored ------------------------------------------------------------------------------
def test_the_track_of_another_film_is_refused(clip: Path, tmp_path: Path) -> None:
    own = pose_pass(Footage(clip), Steady())
    path = tmp_path / "track.parquet"
    for other, word in (
        (replace(own, picture_size_px=(640, 360)), "640 x 360"),
        (replace(own, end_s=9.0), "9.0 s of footage"),
    ):
        write_track(other, path)
        with pytest.raises(InputError, match=word):
            track_of(Footage(clip), Settings(track_file=path), None, lambda *_: None)
    write_track(own, path)
    assert len(track_of(Footage(clip), Settings(track_file=path), None, lambda *_: None)) == 100


def test_options_that_a_known_match_makes_void_are_said(capsys: pytest.CaptureFixture[str]) -> None:
    match = SimpleNamespace(id=4, info=INFO)
    given = dict.fromkeys(("title", "event", "a_name", "b_name", "a_gi", "b_gi", "age", "belt"), "")
    _say_what_stayed(match, given | {"rules": "sport-jiu-jitsu"})  # type: ignore[arg-type]
    assert capsys.readouterr().err == ""
    given |= {"rules": "mine.toml", "title": "roundtrip", "a_name": "Mira Ostrand", "age": "adult"}
    _say_what_stayed(match, given)  # type: ignore[arg-type]
    err = capsys.readouterr().err
    assert "--title, --rules changed nothing" in err
    assert "match 4" in err


def test_short_recordings_joined_keep_their_time(tmp_path: Path) -> None:
    """Three of one second make three seconds."""
    part = write_clip(tmp_path / "part.ts", range(0, 90_000, 3000), Fraction(1, 90_000))
    joined = tmp_path / "joined.ts"
    joined.write_bytes(part.read_bytes() * 3)
    clock = Footage(joined).clock()
    assert 85 <= len(clock) <= 90, "a decoder may lose a frame at a join"
    assert clock.end_s == pytest.approx(3.0, abs=0.1)


# Files of people ---------------------------------------------------------------------------------
def test_a_place_is_named_in_files_that_are_no_json(tmp_path: Path) -> None:
    path = tmp_path / "file.json"
    path.write_text('{"images": [\n  {"id": 1,}]}')
    with pytest.raises(KeypointFileError, match="line 2"):
        read_coco(path)


@pytest.mark.parametrize("key", [".".join("a" * 50_000), "[" + ".".join("a" * 2000) + "]\nx"])
def test_a_rule_set_with_deep_keys_takes_no_time(tmp_path: Path, key: str) -> None:
    path = tmp_path / "rules.toml"
    path.write_text(f"{key} = 1\n")
    began = time.process_time()
    with pytest.raises(InputError, match="nested too deep"):
        RuleSet.load(path)
    path.write_text("# " + "x" * 2**20)
    with pytest.raises(InputError, match="larger than 1 MB"):
        RuleSet.load(path)
    assert time.process_time() - began < 2


@pytest.mark.parametrize("content", [b"", b"x", os.urandom(300), b"PK\x03\x04" + bytes(60)])
def test_a_pose_set_that_is_none_is_a_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "poses3d.npz"
    path.write_bytes(content)
    with pytest.raises(MissingPartError, match="is not a pose set") as caught:
        load_pose_set(path)
    assert "pickle" not in str(caught.value)


# The command line --------------------------------------------------------------------------------
def test_pose_looks_at_its_source_before_it_loads_anything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(passes, "opened_estimator", lambda *_, **__: pytest.fail("loaded"))
    done = said("pose", tmp_path / "none.mp4", "--out", tmp_path / "x.json")
    assert done.exit_code == 2
    assert "does not exist" in done.output
    os.mkfifo(tmp_path / "pipe.mp4")
    done = said("pose", tmp_path / "pipe.mp4", "--out", tmp_path / "x.json")
    assert "no file but a pipe" in done.output


def test_a_looping_link_as_a_track_is_a_sentence(clip: Path, tmp_path: Path) -> None:
    loop = tmp_path / "loop.parquet"
    loop.symlink_to(loop)
    done = said("analyze", clip, "--track", loop, "--library", tmp_path / "library")
    assert done.exit_code == 2, done.output
    assert "does not exist" in done.output


def test_standard_output_is_a_file_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    library, _ = library_with_match(tmp_path / "library")
    library.close()
    done = subprocess.run(
        [sys.executable, "-m", "posescore", "export", "1", "--format", "json", "--out", "-"],
        env={**os.environ, "PYTHONPATH": ROOT, "POSESCORE_LIBRARY": str(tmp_path / "library")},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert json.loads(done.stdout)["holds"]
    assert not (tmp_path / "-").exists()


def test_an_opinion_that_nobody_began_leaves_nothing_to_choose(tmp_path: Path) -> None:
    library, _ = library_with_match(tmp_path)
    library.close()
    done = said("compare", "1", "x", "--library", tmp_path)
    assert "nobody has begun one" in done.output


def test_too_little_memory_is_not_a_missing_library() -> None:
    for error in (
        ImportError("libcv.so: failed to map segment from shared object: Cannot allocate memory"),
        OSError("std::bad_alloc"),
    ):
        with pytest.raises(MemoryError), named_when_missing("OpenCV"):
            raise error
    with pytest.raises(MissingPartError), named_when_missing("OpenCV"):
        raise ImportError("libGL.so.1: cannot open shared object file")


def test_scaling_without_room_is_too_little_memory(
    clip: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Frame:
        width, format = 220, SimpleNamespace(name="yuv420p")

        def reformat(self, *_: object, **__: object) -> None:
            raise av.error.BlockingIOError(11, "Resource temporarily unavailable")

    with pytest.raises(MemoryError):
        Upright(100, 50).picture(Frame())  # type: ignore[arg-type]


def test_a_damaged_table_that_asks_for_gigabytes_is_damage(
    clip: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def asking(*_: object) -> Iterator[None]:
        raise av.error.MemoryError(12, "Cannot allocate memory")
        yield

    container: Any = SimpleNamespace(demux=asking)
    damage = Damage()
    assert list(packets(container, None, damage)) == []  # type: ignore[arg-type]
    assert damage.cut_off
    monkeypatch.setattr(decoding, "_LARGEST_PIECE_BYTES", 2**60)
    with pytest.raises(MemoryError):
        list(packets(container, None, Damage()))  # type: ignore[arg-type]


def test_the_suites_own_files_are_sound(tmp_path: Path) -> None:
    """Else every case would be refused and nothing tried."""
    for suffix, codec in CONTAINERS:
        path = tmp_path / f"x.{suffix}"
        path.write_bytes(whole(suffix, codec, str(tmp_path)))
        assert read_all(path) >= N_FRAMES - 1, suffix
    write_track(make_track(Footage(path).clock()), tmp_path / "track.parquet")
    assert len(read_track(tmp_path / "track.parquet"))
    assert coded_picture(1).any()
