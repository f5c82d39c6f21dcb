"""Too little disk, too little memory."""

from __future__ import annotations

import os
import random
import resource
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from posescore.errors import PoseScoreError, StorageError
from posescore.export.export import export_match
from posescore.footage.reading import Footage
from posescore.library.library import Library
from posescore.library.match import MatchInfo
from posescore.library.store import backups
from posescore.pose.coco import read_coco
from posescore.pose.track_file import read_track, write_track
from posescore.resources import shipped
from tests.faults.footage import film
from tests.faults.libraries import template, used
from tests.faults.running import FaultError, sentence_or_result


@contextmanager
def small_disk(place: Path, size: int) -> Iterator[Path]:
    """A file system of so many bytes; where none can be mounted, a limit on every file's size."""
    disk = place / "disk"
    disk.mkdir()
    how = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(disk)]
    mounted = subprocess.run(how, capture_output=True, check=False).returncode == 0
    if not mounted:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size // 4, resource.RLIM_INFINITY))
    try:
        yield disk
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
        if mounted:
            subprocess.run(["umount", "-l", str(disk)], capture_output=True, check=False)


def disk_full(rng: random.Random, place: Path) -> str:
    """A disk that runs full: what was acknowledged stays, nothing half-made is left."""
    size = rng.randrange(100_000, 1_500_000)
    with small_disk(place, size) as disk:
        end = sentence_or_result(lambda: _fill(rng, disk, place))
        left = [each.name for each in disk.rglob(".*")]
        if left:
            raise FaultError(f"left half-made on a disk of {size}: {left}")
    return end


def _fill(rng: random.Random, disk: Path, place: Path) -> None:
    source = template(str(place.parent))
    track = read_track(source.with_name("template.parquet"))
    library = Library(disk / "library")
    acknowledged = 0
    try:
        with library:
            match = library.add_match(MatchInfo("on a small disk"))
            for number in range(40):
                library.update_match(match.id, MatchInfo("x", note="y" * rng.randrange(40_000)))
                acknowledged = number
                write_track(track, disk / f"track-{number}.parquet")
                backups.keep_copy(library.path)
    except PoseScoreError:
        for big in disk.glob("track-*.parquet"):
            big.unlink()
        for copy in backups.copies_of(library.path):
            copy.unlink()
        _still_whole(disk / "library", acknowledged)
        raise


def _still_whole(folder: Path, acknowledged: int) -> None:
    """With room again the library opens, and holds what was acknowledged."""
    with suppress(StorageError), Library(folder) as library:  # too small for any library at all
        if acknowledged and library.match(1).info.title != "x":
            raise FaultError("an acknowledged change is lost")


def little_memory(rng: random.Random, place: Path) -> str:
    """A limit on memory: a result, a sentence, or MemoryError, which becomes one.

    A library in C++ may end the process where not even its own message has room; this is counted as
    an end of its own, and loses nothing.
    """
    path = place / "film.mp4"
    path.write_bytes(film(str(place)))
    track = template(str(place.parent)).with_name("template.parquet")
    attempts = (
        lambda: read_coco(shipped("sample_video", "keypoints.json")),
        lambda: sum(frame.index for frame in Footage(path).frames()),
        lambda: read_track(track),
        lambda: _exported(track.with_name("template"), place),
    )
    attempt, room = rng.choice(attempts), rng.randrange(0, 40) * 2**20
    end = _within(room, attempt)
    used(template(str(place.parent)))
    return end


def _within(room: int, attempt: Callable[[], object]) -> str:
    """How an attempt ends in a process that may take so many bytes more."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        try:
            limits = _used() + room, resource.RLIM_INFINITY
            resource.setrlimit(resource.RLIMIT_AS, limits)
            said = sentence_or_result(attempt)
        except MemoryError:
            said = "too little memory"
        except BaseException as error:
            said = f"failed: {type(error).__name__}: {error}"
        resource.setrlimit(resource.RLIMIT_AS, (resource.RLIM_INFINITY,) * 2)
        os.write(writing, said.encode())
        os._exit(0)
    os.close(writing)
    said = os.read(reading, 10_000).decode()
    os.close(reading)
    _, status = os.waitpid(child, 0)
    if said.startswith("failed"):
        raise FaultError(said)
    if os.WIFSIGNALED(status):
        return f"ended by signal {os.WTERMSIG(status)}"
    return said


def _exported(folder: Path, place: Path) -> None:
    with Library(folder, read_only=True) as library:
        export_match(library, 1, "coco", place / "out.json", "")


def _used() -> int:
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    return pages * os.sysconf("SC_PAGE_SIZE")
