"""Every clip shows exactly the frames it names, at the footage's own distances in time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posescore.errors import InputError, NotFoundError, StorageError
from posescore.export.clips import clip_name, plain_name, write_annotated, write_clips
from posescore.export.shots import Showing
from posescore.export.summary import summary_of
from posescore.footage.reading import Footage
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import SwapAthletes
from tests.export.filmed import N_FRAMES, SIZE_PX, variable_clock
from tests.footage.clips import read_number

Kept = tuple[Library, Match]
PLAIN = Showing(skeletons=False)


def test_a_clip_holds_the_frames_it_names(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    folder = tmp_path / "new" / "clips"
    seen: list[tuple[int, int]] = []
    made = write_clips(
        library, match.id, folder, before_s=1.5, after_s=0.5, showing=PLAIN,
        progress=lambda stage, done, total: seen.append((done, total)),
    )  # fmt: skip
    clock, review = variable_clock(), library.review(match.id)
    lines = summary_of(review, match).awards
    assert sorted(folder.iterdir()) == sorted(made)
    assert [path.name for path in made] == [clip_name(line) for line in lines]
    assert made[0].name == f"01-A-takedown-frame-{clock.frame_index(12.0)}-12.000s.mp4"
    n_frames = 0
    for path, line in zip(made, lines, strict=True):
        footage = Footage(path)
        assert footage.info.codec == "h264"
        assert footage.info.pixel_format == "yuv420p"
        assert footage.info.starts_at_s == 0
        numbers = [read_number(frame.picture) for frame in footage.frames()]
        first, last = clock.frame_index(line.time_s - 1.5), clock.frame_index(line.time_s + 0.5)
        assert numbers == list(range(first, last + 1))
        assert line.frame_index in numbers
        distances = clock.pts_s[first : last + 1] - clock.pts_s[first]
        assert footage.clock().pts_s == pytest.approx(distances, abs=2e-5)
        ends_s = clock.pts_s[last + 1] - clock.pts_s[first]
        assert footage.clock().end_s == pytest.approx(ends_s, abs=2e-5)
        n_frames += len(numbers)
    assert seen == [(done, n_frames) for done in range(1, n_frames + 1)]


def test_proposed_clips_say_so(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    made = write_clips(library, match.id, tmp_path / "c", before_s=0, after_s=0, proposed=True)
    proposed = [path for path in made if "proposed" in path.name]
    assert len(proposed) == len(summary_of(library.review(match.id), match).proposed) >= 2
    assert all(len(Footage(path).clock()) == 1 for path in made)


def test_cancelled_leaves_nothing(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    folder = tmp_path / "clips"

    def stop_at(frame: int) -> None:
        def progress(stage: str, done: int, total: int) -> None:
            assert total > frame
            if done == frame:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            write_clips(library, match.id, folder, before_s=1, after_s=0, progress=progress)

    stop_at(1)
    stop_at(12)
    assert list(folder.iterdir()) == []
    made = write_clips(library, match.id, folder, before_s=0.3, after_s=0)
    before = {path: path.read_bytes() for path in made}
    stop_at(8)
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    out = tmp_path / "whole.mp4"
    out.write_bytes(b"an earlier copy")

    def stop(stage: str, done: int, total: int) -> None:
        if done == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_annotated(library, match.id, out, progress=stop)
    assert out.read_bytes() == b"an earlier copy"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["clips", "library", "whole.mp4"]


def test_an_annotated_copy_has_every_frame(filmed: Kept, tmp_path: Path) -> None:
    library, match = filmed
    copy = Footage(write_annotated(library, match.id, tmp_path / "copy.mp4"))
    clock = variable_clock()
    assert copy.size_px == SIZE_PX
    assert copy.clock().pts_s == pytest.approx(clock.pts_s, abs=2e-5)
    assert copy.clock().end_s == pytest.approx(clock.end_s, abs=2e-5)
    assert [read_number(frame.picture) for frame in copy.frames(0, 50)] == [
        *range(0, N_FRAMES, 50)
    ]  # fmt: skip
    original = Footage(Path(match.info.footage.path if match.info.footage else ""))
    changed = np.abs(copy.frame(100).picture.astype(int) - original.frame(100).picture) > 60
    assert changed[70:].sum() > 300


def test_exchanged_athletes_are_drawn_exchanged(filmed: Kept, tmp_path: Path) -> None:
    library, match = filmed
    before = _colours(library, match, 100)
    library.edit(match.id, SwapAthletes(0.0), "Ann")
    assert _colours(library, match, 100) == before[::-1] != before


def _colours(library: Library, match: Match, index: int) -> list[str]:
    """Whose colour is on the left and on the right: A's is warm, B's is cold."""
    from posescore.export.shots import USUAL, shots_of

    shots = shots_of(library, match, library.review(match.id), USUAL)
    picture = shots.picture(shots.footage.frame(index)).astype(int)
    warm = (picture[70:, :, 0] - picture[70:, :, 2] > 100).sum(axis=0)
    cold = (picture[70:, :, 2] - picture[70:, :, 0] > 100).sum(axis=0)
    halves = (slice(0, SIZE_PX[0] // 2), slice(SIZE_PX[0] // 2, None))
    return ["A" if warm[half].sum() > cold[half].sum() else "B" for half in halves]


def test_refusals(filmed: Kept, looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    with pytest.raises(InputError, match="numbers from 0"):
        write_clips(library, match.id, tmp_path / "c", before_s=-1)
    with pytest.raises(InputError, match=r"\.mp4"):
        write_annotated(library, match.id, tmp_path / "c.avi")
    assert match.info.footage is not None
    with pytest.raises(InputError, match="the footage itself"):
        write_annotated(library, match.id, Path(match.info.footage.path))
    (tmp_path / "file").touch()
    with pytest.raises(StorageError):
        write_clips(library, match.id, tmp_path / "file")
    gone = replace(match.info.footage, size_bytes=1)
    library.update_match(match.id, replace(match.info, footage=gone))
    with pytest.raises(NotFoundError, match="put it back"):
        write_clips(library, match.id, tmp_path / "c")


def test_nothing_confirmed_is_said(filmed: Kept, tmp_path: Path) -> None:
    library, match = filmed
    with pytest.raises(InputError, match="no award is confirmed"):
        write_clips(library, match.id, tmp_path / "c")
    assert not (tmp_path / "c").exists()


def test_names_are_plain() -> None:
    assert plain_name("Külve / ../ Łu:x*") == "Kulve-..-u-x"
    assert plain_name("//") == "clip"
