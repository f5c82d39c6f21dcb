"""Runs cases in a process of their own, so that a crash or a hang is counted and not suffered.

A case is a function of a random generator and an empty folder. It ends well (``"done"``), with one
sentence (``"refused"``), or raises: then its family, seed and number are named, which repeat it.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import shutil
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

from posescore.errors import OwnFailureError, PoseScoreError

HANGS_AFTER_S = 60.0
_FORK = multiprocessing.get_context("fork")

Case = Callable[[random.Random, Path], str]


class FaultError(AssertionError):
    """What must never be: something lost, half-made, or not said."""


@dataclass(frozen=True)
class Family:
    """Cases of one kind.

    Parameters
    ----------
    case
        One case, or one batch of ``size`` examples.
    share
        Of the cases of a long run.
    kills
        Whether every case ends a process by force.
    """

    case: Case
    share: float
    kills: bool = False
    size: int = 1


@dataclass
class Report:
    """How many cases of a family ended how."""

    name: str
    cases: int = 0
    ends: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        ends = ", ".join(f"{count} {end}" for end, count in sorted(self.ends.items()))
        return f"{self.name}: {self.cases} cases ({ends}), {len(self.failures)} failures"


def sentence_or_result(attempt: Callable[[], object]) -> str:
    """``"done"``, or ``"refused"`` with one sentence; anything else is raised."""
    try:
        attempt()
    except OwnFailureError:
        raise
    except PoseScoreError as error:
        said = str(error)
        if not said.endswith((".", ".)")) or "\n" in said or "Traceback" in said:
            raise FaultError(f"no sentence: {said[:200]!r}") from error
        return "refused"
    return "done"


def run_family(
    name: str, family: Family, seed: int, cases: int, until_s: float = float("inf"), first: int = 0
) -> Report:
    """Run cases ``first`` to ``first + cases``, or until a moment of the monotonic clock."""
    report, number = Report(name), first
    while number < first + cases and time.monotonic() < until_s:
        here, there = _FORK.Pipe()
        process = _FORK.Process(
            target=_work, args=(there, name, family, seed, number, first + cases, until_s)
        )
        process.start()
        there.close()
        number = _listen(here, process, report, family, seed, number)
        process.join()
    return report


def _listen(
    here: Connection, process: object, report: Report, family: Family, seed: int, number: int
) -> int:
    """Count what a worker says; the number of the case that comes next."""
    named = f"{report.name}:{seed}"
    try:
        while True:
            if not here.poll(HANGS_AFTER_S):
                process.kill()  # type: ignore[attr-defined]
                report.failures.append(f"{named}:{number}: hangs for {HANGS_AFTER_S:.0f} s")
                break
            end, said = here.recv()
            if end == "left":
                return number
            report.cases += family.size
            report.ends[end] += family.size
            if end == "failed":
                report.failures.append(f"{named}:{number}: {said}")
            number += 1
    except EOFError:
        report.failures.append(f"{named}:{number}: the process ended without a word")
    report.cases += family.size
    report.ends["crashed"] += family.size
    return number + 1


def _work(
    to: Connection, name: str, family: Family, seed: int, first: int, behind: int, until_s: float
) -> None:
    with tempfile.TemporaryDirectory(prefix="faults-") as root:
        for number in range(first, behind):
            if time.monotonic() > until_s:
                break
            place = Path(root) / str(number)
            place.mkdir()
            to.send(one_case(name, family, seed, number, place))
            shutil.rmtree(place, ignore_errors=True)
    to.send(("left", ""))
    to.close()
    os._exit(0)  # whatever threads a case left


def one_case(name: str, family: Family, seed: int, number: int, place: Path) -> tuple[str, str]:
    """How one case ends, and what is said of a failure."""
    try:
        end = family.case(random.Random(f"{name}:{seed}:{number}"), place)
        left = [each.name for each in place.rglob(".*") if not family.kills]
        if left:
            raise FaultError(f"left half-made: {left}")
    except Exception as error:
        notes = " ".join(getattr(error, "__notes__", ()))
        return "failed", " ".join(f"{type(error).__name__}: {error} {notes}".split())[:600]
    return end, ""
