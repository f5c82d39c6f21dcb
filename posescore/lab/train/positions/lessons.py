"""Batches to learn from: what the network is given, and everything it should tell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
import torch

from posescore.lab.train.positions.chance import Chance
from posescore.lab.train.positions.drawing import Filmed, Ways, filmed, freer_poses_on, keypoints_of
from posescore.lab.train.positions.errors import Spoiled, badly, evenly
from posescore.lab.train.positions.fixed import fixed
from posescore.lab.train.positions.judges import Judges, weights_of
from posescore.lab.train.positions.material import SCRAMBLE, SWAPPED_STATES, Material
from posescore.position.normalise import FARTHEST
from posescore.terms import MIRRORED_KEYPOINTS, N_KEYPOINTS, STATES

Tensor = torch.Tensor
EVEN_SHARE: Final = 0.6
"""Pictures whose errors come evenly, whatever is hidden."""
SURE: Final = 0.85
"""How sure a judge must be to name what is in the middle of a move."""
_FIRM: Final = 0.97
"""What a pose between frames of one name is taught to be; the rest is left to the judge."""
_STRAYED: Final = 0.7
"""The same where a pose strayed from the way between its frames."""


class Lesson(NamedTuple):
    """One batch."""

    rows: Tensor  # (n, 2, 21, 4), as posescore.position.normalise.given
    target: Tensor  # (count, n, n_states)
    counts: Tensor  # (count, n): 1, or 0 where the network must not learn from it
    truth: Tensor  # (n, 2, 21, 4): x, y, depth, outlier
    told: Tensor  # (n, 2, 21): how much each counts


def given(point_px: Tensor, confidence: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """As :func:`posescore.position.normalise.given`; also the centre and the scale."""
    known = torch.isfinite(point_px).all(-1)
    flat = point_px.flatten(1, 2)
    centre = torch.stack([_median(flat[..., 0]), _median(flat[..., 1])], 1)
    away = flat - centre[:, None]
    scale = _median(torch.linalg.vector_norm(away, dim=-1))
    scale = torch.where(scale > 1e-6, scale, 1.0)
    placed = (away / scale[:, None, None]).clamp(-FARTHEST, FARTHEST).reshape(point_px.shape)
    sure = torch.where(torch.isfinite(confidence), confidence, 1.0)
    rows = torch.cat(
        [torch.nan_to_num(placed), known[..., None].float(), (sure * known)[..., None]], -1
    )
    return rows, centre, scale


def _median(values: Tensor) -> Tensor:
    ordered = torch.where(torch.isfinite(values), values, torch.inf).sort(1).values
    count = torch.isfinite(values).sum(1)
    low = (count - 1).clamp_min(0) // 2
    high = torch.minimum(count // 2, (count - 1).clamp_min(0))
    middle = (ordered.gather(1, low[:, None]) + ordered.gather(1, high[:, None]))[:, 0] / 2
    return torch.nan_to_num(middle, posinf=0.0)


def truths(seen: Filmed, spoiled: Spoiled, centre: Tensor, scale: Tensor) -> tuple[Tensor, Tensor]:
    """What a network restores: true place, depth, and whether the given place was an outlier."""
    per_px = 1 / scale[:, None, None]
    place = (seen.point_px - centre[:, None, None]) * per_px[..., None]
    depth = (seen.depth_m - seen.depth_m.mean((1, 2), keepdim=True)) * seen.px_per_m[:, None, None]
    off = torch.linalg.vector_norm(spoiled.point_px - seen.point_px, dim=-1) * per_px > 0.35
    truth = torch.cat([place, (depth * per_px)[..., None], off[..., None].float()], -1).clamp(-4, 4)
    told = torch.isfinite(spoiled.point_px).all(-1).float() * 0.7 + 0.3  # missing ones less
    return truth, told


class Real(NamedTuple):
    """Pictures that a pose pass has judged: keypoints it really gave of known poses."""

    point_px: Tensor  # (m, 2, 21, 2), missing NaN
    confidence: Tensor  # (m, 2, 21)
    true_px: Tensor  # (m, 2, 21, 2)
    state: Tensor  # (m,)
    counts: Tensor  # (m, count)


def read_real(paths: Sequence[Path], material: Material, device: torch.device) -> Real:
    """Pictures that ``posescore.lab.train.keypoints.pass_errors`` wrote.

    A picture is barred from the fold that the frame of its pose belongs to.
    """
    parts = [np.load(path, allow_pickle=False) for path in paths]
    found, sure, true = (
        torch.as_tensor(np.concatenate([p[k] for p in parts]).astype(np.float32), device=device)
        for k in ("found_px", "confidence", "true_px")
    )
    frame, state = (
        np.concatenate([p[k] for p in parts]).astype(np.int64) for k in ("frame", "state")
    )
    fold = material.fold[np.minimum(frame, len(material.fold) - 1)]
    counts = fold[:, None] != np.arange(material.n_folds + 1)
    return Real(
        found, sure, true, torch.as_tensor(state, device=device),
        torch.as_tensor(counts.astype(np.float32), device=device),
    )  # fmt: skip


class Teacher:
    """Draws lessons without end; the same seed draws the same on one device.

    Parameters
    ----------
    material
        What may be learned from.
    ways, judges
        The same on the device, and who names what has no name.
    chance
        Draws everything.
    real
        What a pose pass gives, mixed in by ``real_share``.
    """

    def __init__(
        self,
        material: Material,
        ways: Ways,
        judges: Judges,
        chance: Chance,
        real: Real | None = None,
        real_share: float = 0.0,
    ) -> None:
        device = chance.device
        self.ways, self.judges, self.chance = ways, judges, chance
        self.real, self.real_share = real, real_share if real is not None else 0.0
        self.state = torch.as_tensor(material.state, device=device)
        self.between = torch.as_tensor(material.between, device=device)
        open_ = np.concatenate([~material.barred, np.ones((len(material), 1), bool)], 1)
        self.open = torch.as_tensor(open_, dtype=torch.float32, device=device)
        self.reach = torch.cumsum(
            torch.as_tensor(weights_of(material, self._guessed()), device=device), 0
        )

    def _guessed(self) -> np.ndarray:
        """The likeliest state halfway along every way, for how often it is drawn alone."""
        found = []
        for part in torch.arange(len(self.state), device=self.chance.device).split(8192):
            halfway = (self.ways.first_m[part] + self.ways.second_m[part]) / 2
            found.append(self.judges.opinion(halfway).mean(1).argmax(-1))
        guessed = torch.cat(found)
        guessed = torch.where(self.between, SCRAMBLE, guessed)
        return np.asarray(guessed.cpu().numpy())

    @torch.no_grad()
    def drawn(self, batch: int, at_once: int) -> Lesson:
        """``at_once`` batches of ``batch`` pictures, drawn together: a leading axis of batches."""
        n_real = round(self.real_share * batch)
        n_even = round(EVEN_SHARE * (batch - n_real))
        parts = [
            self._simulated(at_once * n_even, evenly),
            self._simulated(at_once * (batch - n_real - n_even), badly),
        ]
        if n_real and self.real is not None:
            parts.append(self._real(self.real, at_once * n_real))
        return Lesson(
            *(
                torch.cat(
                    [_dealt(part, at_once, i in (1, 2)) for part in kind], 2 if i in (1, 2) else 1
                )
                for i, kind in enumerate(zip(*parts, strict=True))
            )
        )

    def _simulated(self, count: int, spoil: Callable[[Filmed, Chance], Spoiled]) -> Lesson:
        chance = self.chance
        rows = chance.rows(self.reach, count)
        pose, strayed = freer_poses_on(self.ways, rows, chance)
        target = self._targets(rows, pose, strayed)
        swap = chance.yes(0.5, count)
        pose = torch.where(swap[:, None, None, None], pose.flip(1), pose)
        turned = target[..., fixed(SWAPPED_STATES, chance.device)]
        target = torch.where(swap[:, None], turned, target)
        seen = filmed(keypoints_of(pose, chance), chance)
        spoiled = spoil(seen, chance)
        inputs, centre, scale = given(*spoiled)
        truth, told = truths(seen, spoiled, centre, scale)
        return Lesson(inputs, target, self.open[rows].T, truth, told)

    def _targets(self, rows: Tensor, pose: Tensor, strayed: Tensor) -> Tensor:
        """``(count, n, n_states)``: the name where there is one, else what each judge says."""
        opinion = self.judges.opinion(pose).transpose(0, 1)
        state, between = self.state[rows], self.between[rows]
        each = torch.eye(len(STATES), device=state.device)
        named = each[state.clamp_min(0)]
        firm = torch.where(state >= 0, torch.where(strayed, _STRAYED, _FIRM), 0.0)[:, None]
        target = firm * named + (1 - firm) * opinion
        unsure = between & (opinion.max(-1).values < SURE)
        return torch.where(unsure[..., None], (each[SCRAMBLE] + target) / 2, target)

    def _real(self, real: Real, count: int) -> Lesson:
        """Real pictures, a little noised, half mirrored, some keypoints left out."""
        chance = self.chance
        rows = chance.whole(len(real.state), count)
        point, true_px = real.point_px[rows], real.true_px[rows]
        size = (true_px.flatten(1, 2).amax(1) - true_px.flatten(1, 2).amin(1)).amax(-1)
        noise = 0.01 * chance.even(count) * size
        point = point + noise[:, None, None, None] * chance.normal(*point.shape)
        gone = chance.yes(0.1 * chance.even(count, 1, 1), count, 2, N_KEYPOINTS)
        unsure = real.confidence[rows] < 0.4 * chance.even(count, 1, 1)
        gone |= unsure & chance.yes(0.5, count, 1, 1)
        gone[:, :, 17:] |= chance.yes(0.4, count, 1, 1)
        point = torch.where(gone[..., None], torch.nan, point)
        point, true_px, sure = _half_mirrored(point, true_px, real.confidence[rows], chance)
        sure = torch.where(chance.yes(0.3, count, 1, 1), 1.0, sure)
        inputs, centre, scale = given(point, sure)
        seen = Filmed(true_px, torch.zeros_like(true_px[..., 0]), torch.zeros_like(size))
        truth, told = truths(seen, Spoiled(point, sure), centre, scale)
        swap = chance.yes(0.5, count)
        state = torch.where(
            swap, fixed(SWAPPED_STATES, chance.device)[real.state[rows]], real.state[rows]
        )
        across = swap[:, None, None, None]
        inputs, truth = (torch.where(across, part.flip(1), part) for part in (inputs, truth))
        told = torch.where(swap[:, None, None], told.flip(1), told)
        target = torch.eye(len(STATES), device=chance.device)[state]
        counts = real.counts[rows].T
        return Lesson(inputs, target.expand(len(counts), -1, -1), counts, truth, told)


def _dealt(part: Tensor, at_once: int, of_networks: bool) -> Tensor:
    """Pictures ``(n, ...)`` or ``(count, n, ...)`` dealt into batches, a leading axis."""
    if of_networks:
        return part.unflatten(1, (at_once, -1)).transpose(0, 1)
    return part.unflatten(0, (at_once, -1))


def _half_mirrored(
    point: Tensor, true_px: Tensor, sure: Tensor, chance: Chance
) -> tuple[Tensor, Tensor, Tensor]:
    order = fixed(MIRRORED_KEYPOINTS, point.device)
    flip = fixed((-1.0, 1.0), point.device)
    turn = chance.yes(0.5, len(point), 1, 1)
    return (
        torch.where(turn[..., None], point[:, :, order] * flip, point),
        torch.where(turn[..., None], true_px[:, :, order] * flip, true_px),
        torch.where(turn, sure[:, :, order], sure),
    )
