"""Serve a library with the small match and the clips of the frame tests: ``python -m ... FOLDER``.

Prints the address when it is ready, like the program itself.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

from posescore.footage.clock import FrameClock
from posescore.library.library import Library
from posescore.web.server import serve
from tests.web.small_match import add_match

SMALL = FrameClock.steady(400, 10.0)


def uneven(n_frames: int, longest_ticks: int) -> FrameClock:
    """A variable frame rate from 60 frames a second down, on whole ticks of 1/90,000 s."""
    some = [1500, 3000, 3003, 4500, longest_ticks]
    ticks = np.random.default_rng(3).choice(some, n_frames)
    pts_s = np.concatenate(([0], np.cumsum(ticks)[:-1])) / 90_000
    return FrameClock(pts_s, pts_s[-1] + 0.1)


FRAME_CLIPS: dict[str, tuple[FrameClock, dict[str, Any]]] = {
    "24 frames a second": (FrameClock.steady(60, 24.0), {}),
    "29.97 frames a second": (FrameClock.steady(90, 30000 / 1001), {}),
    "60 frames a second, B-frames": (FrameClock.steady(120, 60.0), {"b_frames": 2}),
    "variable rate with pauses": (uneven(80, 45_000), {}),
    "variable rate, B-frames": (uneven(80, 6000), {"b_frames": 2}),
    "29.97 frames a second, HEVC": (FrameClock.steady(90, 30000 / 1001), {"codec": "libx265"}),
    "variable rate, HEVC": (uneven(80, 45_000), {"codec": "libx265"}),
    "60 frames a second, late": (FrameClock.steady(120, 60.0), {"late_s": 0.4}),
}


def fill(library: Library, folder: Path) -> None:
    """Add the small match (number 1) and the frame clips (from 2 on)."""
    add_match(library, folder, SMALL)
    for title, (clock, how) in FRAME_CLIPS.items():
        add_match(library, folder, clock, title=title, holds=(), events=(), findings=(), **how)


def main(folder: Path) -> None:
    """Fill an empty library on the first run; a second run over the same folder goes on with it."""
    with Library(folder / "library") as library:
        if not library.matches():
            fill(library, folder)
        serve(library, port=0, open_browser=False)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
