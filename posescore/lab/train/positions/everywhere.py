"""Learning on all that a machine has: every GPU takes some networks, else the processor all."""

from __future__ import annotations

import multiprocessing
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
import torch

from posescore.lab.train.positions.loop import Keep, Learned, Plan, Say, Weights, learn
from posescore.lab.train.positions.material import Material


def devices() -> list[str]:
    """Every GPU that torch can use, else the processor."""
    return [f"cuda:{i}" for i in range(torch.cuda.device_count())] or ["cpu"]


def learn_everywhere(
    material: Material,
    plan: Plan,
    seed: int,
    places: Sequence[str] | None = None,
    real: Sequence[Path] = (),
    start: Sequence[Weights] | None = None,
    say: Say = print,
    keep: Keep | None = None,
) -> Learned:
    """All networks, each device learning its part of them at the same time.

    The same seed on the same devices gives the same weights, as far as the devices' own
    arithmetic repeats itself. On one device ``keep`` is given them now and then.
    """
    where = list(places or devices())
    parts = np.array_split(np.arange(material.n_folds + 1), len(where))
    work = [
        partial(
            learn, material, plan, seed + 1000 * i, [int(k) for k in part], device,
            real=real, start=None if start is None else [start[k] for k in part],
        )
        for i, (part, device) in enumerate(zip(parts, where, strict=True))
    ]  # fmt: skip
    if len(work) == 1:
        return work[0](say=say, keep=keep)
    with ProcessPoolExecutor(len(work), multiprocessing.get_context("spawn")) as pool:
        found = [future.result() for future in [pool.submit(task) for task in work]]
    return Learned(
        [weights for part in found for weights in part.weights],
        min(part.pictures for part in found),
    )
