"""An estimator's errors, thousands of pictures at once.

The same as :mod:`posescore.evaluation.poses3d.estimator_errors` draws with numpy: errors that come
evenly, whatever is hidden, and errors like those of estimators on tangled pairs.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import torch

from posescore.evaluation.poses3d.estimator_errors import (
    ARMS,
    BEHIND_M,
    CAPSULES,
    LEGS,
    ErrorRates,
)
from posescore.lab.train.positions.chance import Chance
from posescore.lab.train.positions.drawing import Filmed
from posescore.lab.train.positions.fixed import fixed
from posescore.terms import MIRRORED_KEYPOINTS, N_COCO

Tensor = torch.Tensor
_FACE: Final = slice(0, 5)


class Spoiled(NamedTuple):
    """What an estimator gives; missing is NaN."""

    point_px: Tensor  # (n, 2, 21, 2)
    confidence: Tensor  # (n, 2, 21)


def _box(true_px: Tensor) -> tuple[Tensor, Tensor]:
    points = true_px.reshape(len(true_px), -1, 2)
    return points.amin(1)[:, None, None], points.amax(1)[:, None, None]


def evenly(seen: Filmed, chance: Chance) -> Spoiled:
    """Noise and outliers that come evenly over 17 keypoints; confidence says nothing.

    Seven in ten have the noise of 2 % of the longer side of the pair's box and the 10 % of
    keypoints anywhere in that box that results are told for, the others anything from none to
    about twice that. In a fifth, noise is measured against each athlete's own box; in a tenth the
    face is missing but for the nose, or wholly.
    """
    true_px, count = seen.point_px, len(seen.point_px)
    coco = true_px[:, :, :N_COCO]
    low, high = _box(coco)
    size = (high - low).amax(-1).expand(count, 2, 1)
    own = (coco.amax(2) - coco.amin(2)).prod(-1).sqrt()[..., None]
    size = torch.where(chance.yes(0.2, count, 1, 1), own, size)
    told = chance.even(count) < 0.7
    noise = torch.where(told, 0.02, 0.035 * chance.even(count))
    share = torch.where(told, 0.10, 0.2 * chance.even(count))
    sd = noise[:, None, None] * size
    point = coco + sd[..., None] * chance.normal(*coco.shape)
    wrong = chance.yes(share[:, None, None], *coco.shape[:3])
    anywhere = low + (high - low) * chance.even(*coco.shape)
    point = torch.where(wrong[..., None], anywhere, point)
    faceless = chance.even(count)
    point[:, :, 1:5] = torch.where(
        (faceless < 0.10)[:, None, None, None], torch.nan, point[:, :, 1:5]
    )
    point[:, :, 0] = torch.where((faceless < 0.05)[:, None, None], torch.nan, point[:, :, 0])
    whole = torch.full_like(true_px, torch.nan)
    whole[:, :, :N_COCO] = point
    return Spoiled(whole, torch.ones_like(true_px[..., 0]))


def hidden(seen: Filmed) -> Tensor:
    """Which keypoints a body hides, ``(n, 2, 21)``: behind a limb or trunk, drawn as capsules."""
    count = len(seen.point_px)
    point, depth = seen.point_px.reshape(count, 42, 2), seen.depth_m.reshape(count, 42)
    capsules = [(athlete + s, athlete + e, r) for athlete in (0, 21) for s, e, r in CAPSULES]
    starts, ends, radius = (fixed(column, point.device) for column in zip(*capsules, strict=True))
    a, along = point[:, starts], point[:, ends] - point[:, starts]
    length2 = along.square().sum(-1).clamp_min(1e-6)
    # Pixels (42) against capsules, along and off each: (n, capsules, 42).
    offset = point[:, None] - a[:, :, None]
    part = ((offset * along[:, :, None]).sum(-1) / length2[..., None]).clamp(0, 1)
    apart2 = (offset - part[..., None] * along[:, :, None]).square().sum(-1)
    near = torch.lerp(depth[:, starts][..., None], depth[:, ends][..., None], part)
    reach2 = (radius * seen.px_per_m[:, None]).square()[..., None]
    own = [[k in (s, e) for k in range(42)] for s, e, _ in capsules]
    over = (apart2 < reach2) & (near < depth[:, None] - BEHIND_M) & ~fixed(own, point.device)
    return over.any(1).reshape(count, 2, 21)


def badly(seen: Filmed, chance: Chance, rates: ErrorRates | None = None) -> Spoiled:
    """Errors like those of estimators on tangled pairs; missing and its confidence are NaN."""
    rates = rates or ErrorRates()
    true_px, count = seen.point_px, len(seen.point_px)
    behind = hidden(seen)
    low, high = _box(true_px)
    size = (high - low).amax(-1)
    guess = _flip_sides(true_px, chance, rates)
    sd = _between(rates.noise, chance.even(count, 1, 1))
    sd = sd * torch.where(behind, rates.hidden_factor, 1.0)
    sd = sd * torch.exp(0.5 * chance.normal(*sd.shape)) * size
    guess = guess + sd[..., None] * chance.normal(*guess.shape)
    guess = _outliers(guess, true_px, chance, rates)
    error = torch.linalg.vector_norm(guess - true_px, dim=-1) / size
    confidence = _confidence(error, behind, chance, rates)
    gone = _missing(behind, chance, rates)
    guess = torch.where(gone[..., None], torch.nan, guess)
    return Spoiled(guess, torch.where(gone, torch.nan, confidence))


def _between(ends: tuple[float, float], part: Tensor) -> Tensor:
    return ends[0] + (ends[1] - ends[0]) * part


def _flip_sides(true_px: Tensor, chance: Chance, rates: ErrorRates) -> Tensor:
    guess, image = true_px.clone(), true_px[:, :, fixed(MIRRORED_KEYPOINTS, true_px.device)]
    shape = true_px.shape[:2]
    body = chance.yes(rates.body_flip, *shape)
    for part in (ARMS, LEGS):
        flip = (body ^ chance.yes(rates.limb_flip, *shape))[..., None, None]
        rows = fixed(part, guess.device)
        guess.index_copy_(2, rows, torch.where(flip, image[:, :, rows], true_px[:, :, rows]))
    guess[:, :, _FACE] = torch.where(
        body[..., None, None], image[:, :, _FACE], true_px[:, :, _FACE]
    )
    return guess


def _outliers(guess: Tensor, true_px: Tensor, chance: Chance, rates: ErrorRates) -> Tensor:
    """Anywhere in the box, the opponent's, the other side's, near by."""
    shape = guess.shape[:3]
    low, high = _box(true_px)
    margin = 0.05 * (high - low)
    size = (high - low).amax(-1)[..., None]
    anywhere = low - margin + (high - low + 2 * margin) * chance.even(*guess.shape)
    near_by = guess + 0.15 * size * chance.normal(*guess.shape)
    kind = chance.even(*shape)[..., None]
    wrong = torch.where(kind < 0.13, true_px.flip(1), near_by)
    image = true_px[:, :, fixed(MIRRORED_KEYPOINTS, true_px.device)]
    wrong = torch.where((kind >= 0.26) & (kind < 0.35), image, wrong)
    wrong = torch.where(kind >= 0.35, anywhere, wrong)
    rate = _between(rates.outliers, chance.even(len(guess), 1, 1))
    return torch.where(chance.yes(rate, *shape)[..., None], wrong, guess)


def _confidence(error: Tensor, behind: Tensor, chance: Chance, rates: ErrorRates) -> Tensor:
    count = len(error)
    level = 1.0 - 0.25 * chance.even(count, 1, 1) - 0.35 * behind
    trust = 0.3 + 0.7 * chance.even(count, 1, 1)
    confidence = level * (1 - trust + trust * torch.exp(-((error / 0.08) ** 2)))
    confidence = (confidence + 0.1 * chance.normal(*error.shape)).clamp(0.01, 1.0)
    return torch.where(chance.yes(rates.no_confidence, count, 1, 1), 1.0, confidence)


def _missing(behind: Tensor, chance: Chance, rates: ErrorRates) -> Tensor:
    count = len(behind)
    rate = _between(rates.missing, chance.even(count, 1, 1)) * torch.where(behind, 2.0, 1.0)
    gone = chance.yes(rate, *behind.shape)
    gone |= chance.yes(rates.athlete_missing, count, 2, 1)
    no_feet = chance.yes(rates.no_feet, count, 1, 1)
    gone[:, :, N_COCO:] |= no_feet
    return gone
