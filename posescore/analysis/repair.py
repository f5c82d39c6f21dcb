"""Putting a library right: its rows, then what can be made again from its tracks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from posescore.analysis.pipeline import read_positions
from posescore.errors import InputError, PoseScoreError
from posescore.footage.clock import FrameClock
from posescore.library.analysis import Analysis
from posescore.library.library import Library
from posescore.library.repairing import footage_of, put_right, take_in_folders
from posescore.library.store.files import sha256_of
from posescore.pose.track import PairTrack
from posescore.pose.track_file import read_track
from posescore.terms import Progress, silent


def repair_library(folder: Path, progress: Progress = silent) -> Iterator[str]:
    """Keep what can be read, make again what can be made; a sentence for everything that was done.

    Raises
    ------
    InputError, StorageError
        As :func:`posescore.library.repairing.put_right`.
    """
    yield from put_right(folder)
    with Library(folder, repairing=True) as library:
        new, bare = take_in_folders(library)
        for number in new:
            yield f"match {number}: taken in from its folder; name its athletes again."
        footage = _footage_by_track(library)
        for number, place in bare.items():
            tracks = sorted(place.glob("track-*.parquet"), key=lambda one: one.stat().st_mtime)
            if tracks:
                yield _read_again(library, number, tracks[-1], footage, progress)


def _read_again(
    library: Library, number: int, path: Path, footage: dict[str, str], progress: Progress
) -> str:
    try:
        track = read_track(path)
        library.save_analysis(number, _analysis_of(track, path, progress))
    except (PoseScoreError, ValueError) as error:
        return f"match {number}: {error}"
    sha256 = footage.get(sha256_of(path))
    info = library.match(number).info
    if sha256 is not None and info.footage is None:
        known = replace(footage_of(library.folder, sha256), duration_s=track.end_s)
        library.update_match(number, replace(info, footage=known))
    return f"match {number}: its holds and proposals were made again from {path.name}."


def _footage_by_track(library: Library) -> dict[str, str]:
    """Hash of the footage by hash of the track that was kept of it."""
    kept = (library.folder / "poses").glob("*/*.parquet")
    return {sha256_of(each): each.parent.name for each in kept}


def _analysis_of(track: PairTrack, path: Path, progress: Progress) -> Analysis:
    if not np.array_equal(track.frame_index, np.arange(len(track))):
        raise InputError(f"{path.name} leaves frames out: add the footage again and analyse it.")
    made = read_positions(track, progress)
    return Analysis(
        clock=FrameClock(track.time_s, track.end_s),
        holds=made.holds,
        events=made.events,
        findings=track.findings,
        provenance=made.probabilities.provenance,
        track_path=path,
    )
