from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from posescore.evaluation.poses3d.pose_set import pose_set_path
from posescore.lab.train.positions.material import Amounts, Material, material_of
from tests.evaluation.pose_sets import pose_set_or_skip


@pytest.fixture(scope="session")
def material() -> Material:
    """What networks of keypoints learn from, a little of it: made once, for it takes seconds."""
    amounts = Amounts(blends=300, bridges=300, authored=30)
    return material_of(pose_set_or_skip(), 5, np.random.default_rng(0), amounts)


@pytest.fixture(scope="session")
def few_entries(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pose set of a fifth of the entries."""
    pose_set_or_skip()
    path = tmp_path_factory.mktemp("poses") / "poses3d.npz"
    with np.load(pose_set_path(), allow_pickle=False) as data:
        kept = data["entry"] % 5 == 0
        whole = {"joints": data["joints"]}
        np.savez(path, **whole, **{k: data[k][kept] for k in data.files if k != "joints"})
    return path
