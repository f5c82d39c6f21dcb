"""Judges of poses in 3D: they name what the open set leaves without a name.

Seen in 3D, without a camera's errors, the position of a pose is easy to tell. One judge for each
fold, which never learned from that fold's named frames, names what the network of the fold learns
from, so that no held-back name leaks through another judge's opinion; one more learns from all.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
import torch
from sklearn.metrics import f1_score
from torch.nn import functional

from posescore.evaluation.poses3d.pose_set import JOINT, JOINTS
from posescore.lab.train.positions.chance import Chance
from posescore.lab.train.positions.drawing import Ways, poses_on
from posescore.lab.train.positions.fixed import fixed
from posescore.lab.train.positions.material import SWAPPED_STATES, Material
from posescore.lab.train.positions.recording import Recorded
from posescore.terms import STATES

Tensor = torch.Tensor
_PAIRS: Final = np.triu_indices(2 * len(JOINTS), 1)


def pose_features(pose: Tensor) -> Tensor:
    """``(n, n_pose_features)`` of poses ``(n, 2, 23, 3)``, whatever way the pair is turned.

    Distances between all joints, heights, where the chests face, and every joint along, before and
    beside the opponent's trunk.
    """
    count = len(pose)
    point = pose.reshape(count, -1, 3)
    first, second = (point[:, fixed(index, pose.device)] for index in _PAIRS)
    apart = torch.linalg.vector_norm(first - second, dim=-1)
    hips = (pose[:, :, JOINT["left_hip"]] + pose[:, :, JOINT["right_hip"]]) / 2
    core, neck = pose[:, :, JOINT["core"]], pose[:, :, JOINT["neck"]]
    across = pose[:, :, JOINT["left_shoulder"]] - pose[:, :, JOINT["right_shoulder"]]
    chest = functional.normalize(torch.linalg.cross(across, neck - hips), dim=-1)
    spine = functional.normalize(neck - core, dim=-1)
    side = torch.linalg.cross(chest, spine)
    offset = pose.flip(1) - core[:, :, None]
    placed = [
        (offset * axis[:, :, None]).sum(-1).reshape(count, -1) for axis in (chest, spine, side)
    ]
    facing = (chest[:, 0] * chest[:, 1]).sum(-1, keepdim=True)
    parts = (apart, point[..., 2], chest[..., 2], spine[..., 2], facing, *placed)
    return torch.cat(parts, 1)


class Judges(torch.nn.Module):
    """Networks side by side, judge k for fold k and the last for all."""

    def __init__(self, count: int, chance: Chance, hidden: tuple[int, ...] = (384, 192)) -> None:
        super().__init__()
        n_features = pose_features(torch.zeros(1, 2, len(JOINTS), 3)).shape[1]
        sizes = (n_features, *hidden, len(STATES))
        self.mean: Tensor
        self.scale: Tensor
        self.register_buffer("mean", torch.zeros(n_features, device=chance.device))
        self.register_buffer("scale", torch.ones(n_features, device=chance.device))
        self.weights = torch.nn.ParameterList(
            (2 / a) ** 0.5 * chance.normal(count, a, b) for a, b in pairwise(sizes)
        )
        self.biases = torch.nn.ParameterList(
            torch.zeros(count, 1, b, device=chance.device) for b in sizes[1:]
        )
        with torch.no_grad():
            self.weights[-1] *= 0.1

    def logits(self, pose: Tensor, dropout: float = 0.0) -> Tensor:
        """``(count, n, n_states)`` for the poses as they are."""
        values = (pose_features(pose) - self.mean) / self.scale
        values = values.expand(len(self.weights[0]), -1, -1)
        for weight, bias in zip(self.weights[:-1], self.biases[:-1], strict=True):
            values = functional.relu(torch.baddbmm(bias, values, weight))
            values = functional.dropout(values, dropout)
        return torch.baddbmm(self.biases[-1], values, self.weights[-1])

    @torch.no_grad()
    def opinion(self, pose: Tensor) -> Tensor:
        """Probabilities ``(n, count, n_states)``, the mean of both ways of naming the athletes."""
        plain = self.logits(pose).softmax(-1)
        other = self.logits(pose.flip(1)).softmax(-1)[..., fixed(SWAPPED_STATES, pose.device)]
        return ((plain + other) / 2).transpose(0, 1)


def judges_of(
    material: Material, ways: Ways, chance: Chance, steps: int, batch: int = 2048
) -> Judges:
    """Judges that have learned from named frames, blends of them and authored poses."""
    device = chance.device
    open_ = torch.as_tensor(
        np.concatenate([~material.barred, np.ones((len(material), 1), bool)], 1), device=device
    )
    state = torch.as_tensor(material.state, device=device)
    reach = torch.cumsum(torch.as_tensor(weights_of(material), device=device), 0)
    judges = Judges(material.n_folds + 1, chance)
    with torch.no_grad():
        some = pose_features(poses_on(ways, chance.rows(reach, 4096), chance))
        judges.mean.copy_(some.mean(0))
        judges.scale.copy_(some.std(0) + 0.02)
    rate = torch.tensor(0.0, device=device)
    hand = torch.optim.AdamW(
        judges.parameters(), lr=rate, weight_decay=0.05,
        capturable=device.type == "cuda", fused=device.type == "cuda",
    )  # fmt: skip

    def step() -> Tensor:
        rows = chance.rows(reach, batch)
        pose, truth = poses_on(ways, rows, chance), state[rows]
        swap = chance.yes(0.5, batch)
        pose = torch.where(swap[:, None, None, None], pose.flip(1), pose)
        truth = torch.where(swap, fixed(SWAPPED_STATES, device)[truth], truth)
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            logits = judges.logits(pose, 0.2).float()
        lost = functional.cross_entropy(
            logits.transpose(1, 2), truth.expand(len(logits), -1), reduction="none",
            label_smoothing=0.02,
        )  # fmt: skip
        loss = (lost * open_[rows].T).mean()
        hand.zero_grad(set_to_none=False)
        loss.backward()
        hand.step()
        return loss.detach()

    again = Recorded(step, device, chance.source)
    for index in range(steps):
        rate.fill_(_rate(index / steps))
        again()
    return judges


def _rate(done: float) -> float:
    """Learning rate of a part of the way: up over a tenth, then down along a cosine."""
    return 1.5e-3 * min(10 * done + 0.01, 0.5 + 0.5 * float(np.cos(np.pi * done)))


@torch.no_grad()
def held_back_score(judges: Judges, material: Material) -> tuple[float, float]:
    """Accuracy and macro-F1 over states of each judge on its own fold's named frames."""
    held = np.flatnonzero(material.fold >= 0)
    frames = torch.as_tensor(material.frames_m[held], device=judges.mean.device)
    opinion = judges.opinion(frames).cpu().numpy()
    answer = opinion[np.arange(len(held)), material.fold[held]].argmax(-1)
    truth = material.name[held]
    # Either athlete's state counts as one: which of them is A says nothing.
    mine, right = (np.minimum(s, SWAPPED_STATES[s]) for s in (answer, truth))
    return float((answer == truth).mean()), float(f1_score(right, mine, average="macro"))


def weights_of(
    material: Material, state: np.ndarray | None = None, power: float = 0.5
) -> np.ndarray:
    """How often each way is drawn: positions by a power of their frequency, sources by share.

    Ways without a name are drawn for none; ``state`` ``(n,)`` gives them one. The power 0.5 stands
    between the open set's own frequencies (a third of it is guard) and even ones, which a match
    is nearer to.
    """
    named = (
        material.state if state is None else np.where(material.state >= 0, material.state, state)
    )
    position = np.where(named >= 0, np.minimum(named, SWAPPED_STATES[named]), -1)
    in_set = material.name[material.fold >= 0]
    frequency = np.bincount(np.minimum(in_set, SWAPPED_STATES[in_set]), minlength=len(STATES))
    wanted = np.maximum(frequency, 12.0) ** power
    weight = np.zeros(len(material))
    for source in np.unique(material.source):
        chosen = (material.source == source) & (position >= 0)
        count = np.bincount(position[chosen], minlength=len(STATES))
        weight[chosen] = material.share[chosen] / count[position[chosen]]
    has = position >= 0
    total = np.bincount(position[has], weights=weight[has], minlength=len(STATES))
    weight[has] *= wanted[position[has]] / total[position[has]]
    return weight / weight.sum()
