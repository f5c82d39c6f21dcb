"""Kill -9 in the midst: of a program that edits, of the server, of an analysis, of a copy."""

from __future__ import annotations

import http.client
import json
import os
import random
import signal
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import numpy as np

from posescore.analysis.pipeline import pose_pass
from posescore.footage.reading import Footage
from posescore.library.library import Library
from posescore.library.review.edits import AddAward
from posescore.library.store import backups
from posescore.library.store.schema import FILE_NAME
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.scoring.proposal import ProposalKind
from posescore.web.server import serve
from tests.faults.footage import Steady, film
from tests.faults.libraries import fresh
from tests.faults.running import FaultError
from tests.library.samples import A


def _forked(work: Callable[[int], None]) -> tuple[int, int]:
    """A process that does some work; its id, and where it says what it did."""
    reading, writing = os.pipe()
    child = os.fork()
    if child:
        os.close(writing)
        return child, reading
    os.close(reading)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.dup2(1, 2)
    with suppress(BaseException):
        work(writing)
    os._exit(0)


def _killed(child: int, reading: int, after_s: float) -> bytes:
    """Everything a process said before it was killed."""
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    said = b""
    while piece := os.read(reading, 65_536):
        said += piece
    os.close(reading)
    return said


def _edit(number: int) -> AddAward:
    return AddAward(A, ProposalKind.SWEEP, 1.0, 2, reason=f"edit {number}")


def editing(rng: random.Random, place: Path) -> str:
    """Every edit that was acknowledged is in the log, once and in order."""
    folder = fresh(place)

    def work(writing: int) -> None:
        library = Library(folder)
        for number in range(10_000):
            library.edit(1, _edit(number), "Ann")
            os.write(writing, f"{number}\n".encode())

    said = _killed(*_forked(work), rng.uniform(0.05, 0.5))
    acknowledged = [int(line) for line in said.decode().split()]
    _all_there(folder, acknowledged)
    return f"killed at {'the start' if not acknowledged else 'work'}"


def _all_there(folder: Path, acknowledged: list[int]) -> None:
    with Library(folder) as library:
        edits = [e.edit for e in library.log(1, "") if isinstance(e.edit, AddAward)]
        kept = [int(edit.reason.split()[1]) for edit in edits]
        if kept[: len(acknowledged)] != acknowledged or len(kept) > len(acknowledged) + 1:
            raise FaultError(f"{len(acknowledged)} edits acknowledged, {len(kept)} kept")
        library.review(1)
    backups.check_whole(folder / FILE_NAME)


def serving(rng: random.Random, place: Path) -> str:
    """The same over the pages' server."""
    folder = fresh(place)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]

    def work(writing: int) -> None:
        quiet = ("true",)
        serve(Library(folder), port=port, open_browser=False, worker=quiet)

    child, reading = _forked(work)
    acknowledged: list[int] = []
    give_up_s = time.monotonic() + 20
    asked = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    wanted = rng.randrange(0, 12)
    while len(acknowledged) < wanted and time.monotonic() < give_up_s:
        try:
            if _sent(asked, len(acknowledged)):
                acknowledged.append(len(acknowledged))
        except OSError:
            asked.close()
            time.sleep(0.05)
    if len(acknowledged) < wanted:
        raise FaultError("the server did not answer within 20 s")
    with suppress(OSError):  # one more, on the way when the server dies
        asked.request("POST", "/api/matches/1/edits", _body(wanted), _JSON)
    _killed(child, reading, rng.uniform(0, 0.02))
    asked.close()
    _all_there(folder, acknowledged)
    return "killed"


_JSON = {"Content-Type": "application/json"}


def _body(number: int) -> bytes:
    edit = {"kind": "add_award", "athlete": "A", "award": "sweep", "time_s": 1.0, "points": 2}
    edit |= {"reason": f"edit {number}"}
    return json.dumps({"author": "Ann", "edit": edit}).encode()


def _sent(asked: http.client.HTTPConnection, number: int) -> bool:
    asked.request("POST", "/api/matches/1/edits", _body(number), _JSON)
    answer = asked.getresponse()
    text = answer.read()
    if answer.status != 200:
        raise FaultError(text.decode()[:300])
    return True


class _Slow(Steady):
    """Takes a little time, as a network does."""

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        time.sleep(0.004)
        return super().estimate(picture, boxes)


def analysing(rng: random.Random, place: Path) -> str:
    """Killed up to three times, an analysis gives what it gives undisturbed."""
    path, poses = place / "match.mp4", place / "poses"
    path.write_bytes(film(str(place)))
    true = pose_pass(Footage(path), Steady())
    for _ in range(rng.randint(1, 3)):

        def work(writing: int) -> None:
            pose_pass(Footage(path), _Slow(), poses=poses)

        _killed(*_forked(work), rng.uniform(0.02, 0.6))
    again = pose_pass(Footage(path), Steady(), poses=poses)
    if not np.array_equal(again.keypoints_px, true.keypoints_px, equal_nan=True):
        raise FaultError("after kills the analysis comes out otherwise")
    if [each for each in poses.iterdir() if each.suffix == ".begun"]:
        raise FaultError("begun answers are left")
    return "killed"


def copying(rng: random.Random, place: Path) -> str:
    """Killed while copies are made and put back: a whole library, and whole copies."""
    folder = fresh(place)
    path = folder / FILE_NAME
    backups.keep_copy(path)

    def work(writing: int) -> None:
        for number in range(1000):
            with Library(folder) as library:
                library.edit(1, _edit(number), "Ann")
                backups.keep_copy(path)
            backups.restore(path, backups.newest_sound_copy(path))

    _killed(*_forked(work), rng.uniform(0.02, 0.6))
    backups.check_whole(path)
    for copy in backups.copies_of(path):
        backups.check_whole(copy)
    with Library(folder) as library:
        if len(library.log(1)) < 4:
            raise FaultError("decisions are lost")
        library.review(1)
    return "killed"
