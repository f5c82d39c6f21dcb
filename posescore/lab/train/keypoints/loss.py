"""How wrong the pair network is about a batch, whichever way it took the two athletes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import torch
from torch import Tensor
from torch.nn import functional

from posescore.lab.corpus.pictures import Batch
from posescore.lab.train.keypoints import fused
from posescore.lab.train.keypoints.network import HEAT_CELLS, SIDE_PX, Outputs, decode_heat
from posescore.terms import N_KEYPOINTS

_FACE_SIGMA_PX: Final = 3.5
_BODY_SIGMA_PX: Final = 5.0
"""How wide a target is: COCO's measure forgives a face far less than a limb."""

_N_FACE: Final = 5
SURE_WITHIN: Final = 0.1
"""A keypoint is "right" when this share of the athlete's size from the truth, or nearer."""

_HIDDEN: Final = 0.7
"""What a hidden keypoint counts beside one that is seen: the measure counts both alike."""

_EARLY_STAGE_WEIGHT: Final = 0.4
_HEAT, _MASK, _VISIBLE, _SURE, _PART = 0.5, 2.0, 0.3, 0.3, 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """A batch's truth in the shapes that the loss compares."""

    heat: Tensor
    weight: Tensor
    mask: Tensor
    part: Tensor

    @classmethod
    def of(cls, batch: Batch) -> Truth:
        """Targets of a batch."""
        part = (batch.label & 15).long()
        athlete = batch.label >> 4
        masks = [(part > 0) & (athlete == slot) for slot in (0, 1)]
        return cls(
            _bumps(batch.keypoints_px),
            batch.inside.float() * (_HIDDEN + (1 - _HIDDEN) * batch.visible.float()),
            torch.stack(masks, 1).flatten(2).float(),
            part,
        )


def _bumps(keypoints_px: Tensor) -> Tensor:
    centre = (torch.arange(HEAT_CELLS, device=keypoints_px.device) + 0.5) * SIDE_PX / HEAT_CELLS
    spread = torch.full((N_KEYPOINTS, 1), 2 * _BODY_SIGMA_PX**2, device=keypoints_px.device)
    spread[:_N_FACE] = 2 * _FACE_SIGMA_PX**2
    across = torch.exp(-((keypoints_px[..., 0:1] - centre) ** 2) / spread)
    down = torch.exp(-((keypoints_px[..., 1:2] - centre) ** 2) / spread)
    bump = (down[..., :, None] * across[..., None, :]).flatten(-2)
    return bump / bump.sum(-1, keepdim=True).clamp(min=1e-6)


def pair_loss(stages: list[Outputs], parts: Tensor, batch: Batch) -> tuple[Tensor, Tensor]:
    """The loss, and its part from the last stage (both scalars)."""
    truth = Truth.of(batch)
    last = torch.zeros((), device=parts.device)
    total = _PART * functional.cross_entropy(parts.float(), truth.part)
    for number, said in enumerate(stages):
        cost = _costs(said, truth, batch)
        straight = cost[:, 0, 0] + cost[:, 1, 1]
        crossed = cost[:, 0, 1] + cost[:, 1, 0]
        last = torch.minimum(straight, crossed).mean()
        total = total + last * (1.0 if number == len(stages) - 1 else _EARLY_STAGE_WEIGHT)
    return total, last.detach()


def _costs(said: Outputs, truth: Truth, batch: Batch) -> Tensor:
    """``(n, 2, 2)``: cost of letting slot s stand for athlete t."""
    log_sum, hit, place = _heat_terms(said.heat, truth, batch)
    miss = log_sum[:, :, None] - hit
    share = truth.weight / (truth.weight.sum((1, 2), keepdim=True).clamp(min=1) / 2)
    cost = _HEAT * (miss * share[:, None]).sum(-1)
    apart = (place[:, :, None] - batch.keypoints_px[:, None]).norm(dim=-1)
    size = batch.area_px2.sqrt()[:, None, :, None]
    right = ((apart < SURE_WITHIN * size) & batch.inside[:, None]).float()
    pairs = [2, 2]
    mask = said.mask.float()[:, :, None].expand(-1, *pairs, -1)
    wanted = truth.mask[:, None].expand_as(mask)
    cost = cost + _MASK * _cross(mask, wanted).mean(-1)
    visible = said.visible.float()[:, :, None].expand(-1, *pairs, -1)
    seen = batch.visible.float()[:, None].expand_as(visible)
    cost = cost + _VISIBLE * (_cross(visible, seen) * batch.inside[:, None]).mean(-1)
    sure = said.sure.float()[:, :, None].expand(-1, *pairs, -1)
    return cost + _SURE * _cross(sure, right).mean(-1)


def _heat_terms(heat: Tensor, truth: Truth, batch: Batch) -> tuple[Tensor, Tensor, Tensor]:
    """Log-sums ``(n, 2, k)``, mean logits ``(n, slot, athlete, k)``, places ``(n, 2, k, 2)``."""
    if fused.is_fused("heat", heat):
        spreads = (2 * _FACE_SIGMA_PX**2, 2 * _BODY_SIGMA_PX**2)
        step = SIDE_PX / HEAT_CELLS
        log_sum, hit, place = fused.heat_terms(heat, batch.keypoints_px, step, spreads, _N_FACE)
        return log_sum, hit.transpose(-1, -2), place
    heat = heat.float()
    hit = torch.einsum("nskp,ntkp->nstk", heat, truth.heat)
    return heat.logsumexp(-1), hit, decode_heat(heat.detach())[0]


def _cross(logit: Tensor, wanted: Tensor) -> Tensor:
    return functional.binary_cross_entropy_with_logits(logit, wanted, reduction="none")
