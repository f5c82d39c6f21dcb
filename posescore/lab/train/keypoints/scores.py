"""Scores of the pair network while it trains, on held-back poses."""

from __future__ import annotations

from typing import Final

import torch
from torch import Tensor

from posescore.lab.corpus.pictures import Batch
from posescore.lab.train.keypoints.loss import SURE_WITHIN

COCO_SIGMAS: Final = (
    0.026, 0.025, 0.025, 0.035, 0.035, 0.079, 0.079, 0.072, 0.072, 0.062, 0.062, 0.107, 0.107,
    0.087, 0.087, 0.089, 0.089,
)  # fmt: skip
"""How far people who mark keypoints differ, by COCO's keypoint evaluation."""


def similarity(place: Tensor, batch: Batch) -> Tensor:
    """Object keypoint similarity of each athlete, ``(n, 2)``, slots matched the better way.

    Keypoints beyond the picture's edges don't count.
    """
    sigma = torch.tensor(COCO_SIGMAS, device=place.device)
    n = len(COCO_SIGMAS)
    inside = batch.inside[..., :n].float()

    def score(guess: Tensor) -> Tensor:
        square = ((guess[:, :, :n] - batch.keypoints_px[:, :, :n]) ** 2).sum(-1)
        each = torch.exp(-square / (2 * batch.area_px2[..., None] * (2 * sigma) ** 2))
        return (each * inside).sum(-1) / inside.sum(-1).clamp(min=1)

    straight, crossed = score(place), score(place.flip(1))
    better = straight.mean(1, keepdim=True) >= crossed.mean(1, keepdim=True)
    return torch.where(better, straight, crossed)


def summary(scores: Tensor) -> dict[str, float]:
    """Shares of athletes found, both found, both found well, and the mean."""
    worse = scores.min(1).values
    return {
        "athletes": float((scores >= 0.5).float().mean()),
        "both": float((worse >= 0.5).float().mean()),
        "both_75": float((worse >= 0.75).float().mean()),
        "mean": float(scores.mean()),
    }


def calibration_error(place: Tensor, confidence: Tensor, batch: Batch, bins: int = 10) -> float:
    """Expected calibration error of "within a tenth of the athlete's size", slots matched."""
    apart = (place[:, :, None] - batch.keypoints_px[:, None]).norm(dim=-1)
    cost = apart.clamp(max=60).mean(-1)
    crossed = cost[:, 0, 1] + cost[:, 1, 0] < cost[:, 0, 0] + cost[:, 1, 1]
    rows = torch.arange(len(place), device=place.device)[:, None]
    slot = torch.arange(2, device=place.device)
    other = torch.where(crossed[:, None], 1 - slot, slot)
    mine = apart[rows, slot, other]
    size = batch.area_px2.sqrt()[rows, other][..., None]
    right = ((mine < SURE_WITHIN * size) & batch.inside[rows, other]).float().flatten()
    said = confidence.float().flatten()
    cell = (said * bins).long().clamp(0, bins - 1)
    error = 0.0
    for k in range(bins):
        chosen = cell == k
        if chosen.any():
            gap = (said[chosen].mean() - right[chosen].mean()).abs()
            error += float(gap * chosen.float().mean())
    return error


def overlap(guess: Tensor, truth: Tensor) -> Tensor:
    """Intersection over union of boxes ``(n, 4)`` (left, top, right, bottom)."""
    low = torch.maximum(guess[:, :2], truth[:, :2])
    high = torch.minimum(guess[:, 2:], truth[:, 2:])
    both = (high - low).clamp(min=0).prod(-1)
    own = (guess[:, 2:] - guess[:, :2]).clamp(min=0).prod(-1)
    other = (truth[:, 2:] - truth[:, :2]).prod(-1)
    return both / (own + other - both).clamp(min=1e-9)
