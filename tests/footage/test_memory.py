from __future__ import annotations

import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from tests.footage.clips import write_clip

pytest.importorskip("resource", reason="peak memory is read with the resource module")

PEAK = """
import resource, sys
from posescore.footage.ahead import ahead
from posescore.footage.reading import Footage
footage = Footage(sys.argv[1])
count = sum(1 for _ in ahead(footage.frames()))
assert count == len(footage.clock())
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def peak(path: Path) -> int:
    command = [sys.executable, "-c", PEAK, str(path)]
    return int(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def test_memory_does_not_grow_with_the_length(tmp_path: Path) -> None:
    options = {"preset": "ultrafast"}
    short = write_clip(tmp_path / "short.mp4", range(150), Fraction(1, 25), options=options)
    long = write_clip(tmp_path / "long.mp4", range(4000), Fraction(1, 25), options=options)
    # 4,000 pictures of 37 kB would be 147 MB; a tenth of the program's own 100 MB is allowed.
    assert peak(long) < 1.1 * peak(short)
