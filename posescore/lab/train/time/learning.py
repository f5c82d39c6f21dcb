"""How the model in time learns: stretches of matches; states, criteria, answers of whole holds."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from posescore.holds.film.features import MIRRORED_BODY, N_SPEEDS
from posescore.holds.film.outputs import MIRRORED_CRITERIA, N_WAYS
from posescore.lab.train.time.material import NAMES, NOT_ASKED, UNCLEAR, Material
from posescore.lab.train.time.network import Answers, TimeNetwork
from posescore.terms import MIRRORED_KEYPOINTS, N_COCO

STRETCH: Final = 192
"""Instants of a stretch, nineteen seconds."""
CLEAR_SHARE: Final = 0.85
"""Share of a hold's clear instants that give one answer."""
_AVERAGED: Final = 0.999


@dataclass(frozen=True, slots=True)
class Settings:
    """How long and how much at once."""

    seconds: float = 300.0
    batch: int = 64
    rate: float = 2e-3
    dropout: float = 0.1
    weight_decay: float = 0.03
    half: bool = False
    """Half precision: fast on a GPU, and on processors that have it."""
    compiled: bool = False
    """Compiled first: faster on a GPU."""


class Store:
    """Matches end to end on the device, as many as it holds; older ones make room."""

    def __init__(self, capacity: int, device: torch.device) -> None:
        self.capacity, self.device = capacity, device
        self.rows: dict[str, Tensor] = {}
        self.used = 0
        self.first: list[int] = []
        self.lengths: list[int] = []

    def add(self, material: Material) -> None:
        """Append one match; what no longer fits is not kept."""
        length = len(material)
        if self.used + length > self.capacity or length < STRETCH:
            return
        for name in NAMES:
            values = torch.as_tensor(getattr(material, name))
            if name not in self.rows:
                shape = (self.capacity, *values.shape[1:])
                self.rows[name] = torch.zeros(shape, dtype=values.dtype, device=self.device)
            self.rows[name][self.used : self.used + length] = values.to(self.device)
        self.first.append(self.used)
        self.lengths.append(length)
        self.used += length

    def drawn(self, rng: np.random.Generator, batch: int) -> dict[str, Tensor]:
        """Stretches ``(batch, STRETCH)`` of matches drawn evenly."""
        match = rng.integers(0, len(self.first), batch)
        room = np.array(self.lengths)[match] - STRETCH + 1
        start = np.array(self.first)[match] + (rng.random(batch) * room).astype(int)
        at = torch.as_tensor(start[:, None] + np.arange(STRETCH)).to(self.device)
        return {name: values[at] for name, values in self.rows.items()}


def learn(
    network: TimeNetwork,
    store: Store,
    settings: Settings,
    fresh: Callable[[], list[Material]],
    keep: Callable[[TimeNetwork], None],
    seed: int = 0,
) -> TimeNetwork:
    """Learn until the time is up; ``fresh`` gives what was walked meanwhile, ``keep`` saves.

    Returns the network with weights averaged over the last steps.
    """
    device = store.device
    network.to(device).train()
    averaged = TimeNetwork().to(device)
    averaged.load_state_dict(network.state_dict())
    hand = torch.optim.AdamW(
        network.parameters(), lr=settings.rate, weight_decay=settings.weight_decay
    )
    forward = torch.compile(network) if settings.compiled else network
    rng, began, step, lost = np.random.default_rng(seed), time.monotonic(), 0, []
    while (done := (time.monotonic() - began) / settings.seconds) < 1:
        if step % 50 == 0:
            for material in fresh():
                store.add(material)
        rate = settings.rate * min(1.0, (step + 1) / 300) * (0.5 + 0.5 * np.cos(np.pi * done))
        for group in hand.param_groups:
            group["lr"] = rate
        some = varied(store.drawn(rng, settings.batch), rng)
        with torch.autocast(device.type, torch.bfloat16, enabled=settings.half):
            answers = forward(some["poses"], some["motion"], settings.dropout)
        parts = losses(network, Answers(*(a.float() for a in answers)), some)
        loss = torch.stack(parts).sum()
        hand.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        hand.step()
        _average(averaged, network, min(_AVERAGED, (step + 1) / (step + 10)))
        lost.append(torch.stack(parts).detach())
        step += 1
        if step % 500 == 0 or step == 1:
            mean = torch.stack(lost[-500:]).mean(0).tolist()
            print(
                f"{step} steps, {done:.2f}, {len(store.first)} views, {store.used} instants: "
                + " ".join(f"{part:.4f}" for part in mean),
                flush=True,
            )
            keep(averaged)
    print(f"{step} steps in {time.monotonic() - began:.0f} s", flush=True)
    return averaged.eval()


@torch.no_grad()
def _average(averaged: TimeNetwork, network: TimeNetwork, keep: float) -> None:
    torch._foreach_lerp_(list(averaged.parameters()), list(network.parameters()), 1.0 - keep)


def varied(some: dict[str, Tensor], rng: np.random.Generator) -> dict[str, Tensor]:
    """Mirror images, other views, keypoints without confidence, feet or whole keypoints gone."""
    batch, device = len(some["state"]), some["state"].device
    poses, motion = some["poses"].float(), some["motion"].float()

    def drawn(often: float) -> Tensor:
        return torch.as_tensor(rng.random(batch) < often, device=device)

    mirror = drawn(0.5)
    poses = torch.where(_wide(mirror, poses), mirrored_poses(poses), poses)
    motion = torch.where(_wide(mirror, motion), mirrored_motion(motion), motion)
    some["criteria"] = torch.where(
        _wide(mirror, some["criteria"]), some["criteria"][..., list(MIRRORED_CRITERIA)],
        some["criteria"],
    )  # fmt: skip
    poses, motion = _seen_otherwise(poses, motion, rng)
    known = poses[..., 2:3]
    noise = torch.as_tensor(0.03 * rng.random(batch), device=device, dtype=poses.dtype)
    place = poses[..., :2] + _wide(noise, poses) * torch.randn_like(poses[..., :2])
    confidence = torch.where(_wide(drawn(0.12), known), known, poses[..., 3:])
    poses = torch.cat([place * known, known, confidence], -1)
    gone = torch.zeros_like(known, dtype=torch.bool)
    gone[:, :, :, N_COCO:] |= _wide(drawn(0.06), known)
    gone |= torch.rand_like(known[:, :1]) < _wide(0.12 * drawn(0.25).float(), known)
    poses = poses.masked_fill(gone, 0.0)
    still = _wide(drawn(0.05), motion)
    some["poses"], some["motion"] = poses, motion.masked_fill(still, 0.0)
    return some


def _wide(values: Tensor, like: Tensor) -> Tensor:
    return values.reshape(-1, *[1] * (like.dim() - 1))


def _seen_otherwise(
    poses: Tensor, motion: Tensor, rng: np.random.Generator
) -> tuple[Tensor, Tensor]:
    """Rolled by a few degrees, wider or narrower, as other cameras would show it."""
    batch = len(poses)
    roll = np.deg2rad(3.0) * rng.standard_normal(batch)
    wide = np.exp(0.06 * rng.standard_normal(batch))
    turn = np.stack([wide * np.cos(roll), -np.sin(roll), np.sin(roll), np.cos(roll)], 1)
    turn = torch.as_tensor(turn.reshape(batch, 2, 2), dtype=poses.dtype, device=poses.device)
    place = torch.einsum("btakx,byx->btaky", poses[..., :2], turn)
    vectors = motion[..., : N_SPEEDS + 2].unflatten(-1, (-1, 2))
    vectors = torch.einsum("btakx,byx->btaky", vectors, turn).flatten(-2)
    return (
        torch.cat([place, poses[..., 2:]], -1),
        torch.cat([vectors, motion[..., N_SPEEDS + 2 :]], -1),
    )


def mirrored_poses(poses: Tensor) -> Tensor:
    """As :func:`posescore.position.normalise.mirrored_picture`."""
    image = poses[..., list(MIRRORED_KEYPOINTS), :]
    return image * image.new_tensor([-1.0, 1.0, 1.0, 1.0])


def mirrored_motion(motion: Tensor) -> Tensor:
    """As :func:`posescore.holds.film.features.mirrored_features`."""
    vectors = motion[..., : N_SPEEDS + 2].unflatten(-1, (-1, 2))
    vectors = vectors[..., [*MIRRORED_BODY, N_SPEEDS // 2], :]
    vectors = (vectors * vectors.new_tensor([-1.0, 1.0])).flatten(-2)
    return torch.cat([vectors, motion[..., N_SPEEDS + 2 :]], -1)


def losses(network: TimeNetwork, said: Answers, some: dict[str, Tensor]) -> list[Tensor]:
    """Of states, of criteria instant by instant and hold by hold, of ways down, of giving up."""
    doubt = functional.softplus(network.doubt + 2.0)
    known = some["state"] >= 0
    each = functional.cross_entropy(
        said.states.flatten(0, 1), some["state"].flatten().long().clamp(min=0),
        reduction="none", label_smoothing=0.02,
    )  # fmt: skip
    of_states = (each * known.flatten()).sum() / known.sum().clamp(min=1)
    upper = some["upper"].long()[..., None, None, None].expand(-1, -1, 1, *said.criteria.shape[-2:])
    answer = said.criteria.gather(2, upper)[:, :, 0]
    clear = (some["criteria"] == 0) | (some["criteria"] == 1)
    truth = (some["criteria"] == 1).float()
    single = functional.binary_cross_entropy_with_logits(answer[..., 0], truth, reduction="none")
    of_instants = (single * clear).sum() / clear.sum().clamp(min=1)
    of_holds = _of_holds(answer, truth, clear, some, network.prior, doubt[:-2])
    return [
        of_states,
        0.3 * of_instants,
        of_holds,
        0.3 * _of_ways(said.ways, some, doubt[-2]),
        0.2 * _of_giving_up(said.given_up, some, doubt[-1]),
    ]


def _numbered(number: Tensor, most: int = 24) -> Tensor:
    """Rows of sums that instants of stretches belong to; those of number -1 share a last one."""
    number = number.long()
    inside = number >= 0
    least = torch.where(inside, number, number.new_tensor(32767)).amin(1, keepdim=True)
    one = torch.where(inside, (number - least).clamp(max=most - 1), number.new_tensor(most))
    batch = torch.arange(len(number), device=number.device)[:, None]
    return (one + (most + 1) * batch).flatten()


def _summed(values: Tensor, row: Tensor) -> Tensor:
    flat = values.flatten(0, 1)
    return flat.new_zeros((int(row.max()) + 1, *flat.shape[1:])).index_add_(0, row, flat)


def _of_holds(
    answer: Tensor,
    truth: Tensor,
    clear: Tensor,
    some: dict[str, Tensor],
    prior: Tensor,
    doubt: Tensor,
) -> Tensor:
    """Of the answer of a whole hold: log odds weighed by what the instants show."""
    asked = (clear | (some["criteria"] == UNCLEAR)) & (some["criteria"] != NOT_ASKED)
    asked = asked & (some["hold"] >= 0)[..., None]
    row = _numbered(some["hold"])
    shows = answer[..., 1].sigmoid() * asked
    pooled = (_summed(shows * answer[..., 0], row) + prior * doubt) / (_summed(shows, row) + doubt)
    clear_here = (clear & asked).float()
    count, all_here = _summed(clear_here, row), _summed(asked.float(), row)
    share = _summed(truth * clear_here, row) / count.clamp(min=1)
    settled = (count >= 6) & (count >= 0.5 * all_here)
    settled &= (share > CLEAR_SHARE) | (share < 1 - CLEAR_SHARE)
    lost = functional.binary_cross_entropy_with_logits(
        pooled, (share > 0.5).float(), reduction="none"
    )
    return (lost * settled).sum() / settled.sum().clamp(min=1)


def _of_ways(said: Tensor, some: dict[str, Tensor], doubt: Tensor) -> Tensor:
    asked = some["way"] >= 0
    row = _numbered(torch.where(asked, some["passage"], some["passage"].new_tensor(-1)))
    shows = said[..., N_WAYS].sigmoid() * asked
    pooled = _summed(shows[..., None] * said[..., :N_WAYS], row) / (
        _summed(shows, row)[:, None] + 0.1 * doubt
    )
    count = _summed(asked.float(), row)
    truth = _summed(some["way"].float() * asked, row) / count.clamp(min=1)
    lost = functional.cross_entropy(pooled, truth.round().long().clamp(min=0), reduction="none")
    known = count >= 10
    return (lost * known).sum() / known.sum().clamp(min=1)


def _of_giving_up(said: Tensor, some: dict[str, Tensor], doubt: Tensor) -> Tensor:
    asked = some["given_up"] >= 0
    row = _numbered(torch.where(asked, some["passage"], some["passage"].new_tensor(-1)))
    giver = some["giver"].long()[..., None, None].expand(-1, -1, 1, 2)
    answer = said.gather(2, giver)[:, :, 0]
    shows = answer[..., 1].sigmoid() * asked
    pooled = (_summed(shows * answer[..., 0], row) - 3.0 * doubt) / (_summed(shows, row) + doubt)
    count = _summed(asked.float(), row)
    truth = _summed(some["given_up"].float() * asked, row) / count.clamp(min=1)
    lost = functional.binary_cross_entropy_with_logits(pooled, truth.round(), reduction="none")
    known = count >= 8
    return (lost * known).sum() / known.sum().clamp(min=1)
