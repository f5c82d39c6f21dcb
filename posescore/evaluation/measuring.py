"""A figure, and a program that is run to be measured."""

from __future__ import annotations

import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from posescore.errors import OwnFailureError


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure beside the limit the project sets itself, where it sets one."""

    name: str
    value: float
    unit: str
    limit: float | None = None

    @property
    def held(self) -> bool:
        """True when the figure keeps its limit."""
        return self.limit is None or self.value <= self.limit


def analyse_command(video: Path, library: Path) -> list[str]:
    """What a person types to analyse a video."""
    command = [sys.executable, "-m", "posescore", "analyze", str(video), "--json"]
    return [*command, "--library", str(library)]


@dataclass(frozen=True, slots=True)
class Run:
    """What one run of a program took."""

    wall_s: float
    processor_s: float
    peak_mb: float


_BETWEEN: Final = """
import os, subprocess, sys
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, usage = os.wait4(process.pid, 0)
print(usage.ru_utime + usage.ru_stime, usage.ru_maxrss, flush=True)
os._exit(os.waitstatus_to_exitcode(status) and 1)
"""
"""A program of next to no size in between: what a process begins with counts as its peak too."""


def run_of(command: list[str]) -> Run:
    """Run a program, its output thrown away, and measure it."""
    measured = [sys.executable, "-c", _BETWEEN, *command]
    started = time.perf_counter()
    done = subprocess.run(measured, stdout=subprocess.PIPE, text=True, check=False)
    wall_s = time.perf_counter() - started
    if done.returncode:
        raise OwnFailureError("the program to measure failed; see the message above.")
    processor_s, peak = map(float, done.stdout.split())
    return Run(wall_s, processor_s, peak / (1e6 if sys.platform == "darwin" else 1e3))
