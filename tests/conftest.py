"""Data that is never part of the project is looked for beside the checkout, unless it is named."""

from __future__ import annotations

import os
from pathlib import Path

_BESIDE = Path(__file__).resolve().parents[2] / "shared" / "data"

for _variable, _name in (
    ("POSESCORE_POSES3D", "poses3d.npz"),
    ("POSESCORE_REAL_PAIRS", "real_pairs"),
):
    if (_BESIDE / _name).exists():
        os.environ.setdefault(_variable, str(_BESIDE / _name))
