"""Learning: from material to the weights of one network for each fold and one for all."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import torch
from torch.nn import functional

from posescore.lab.train.positions.chance import Chance
from posescore.lab.train.positions.drawing import Ways
from posescore.lab.train.positions.judges import held_back_score, judges_of
from posescore.lab.train.positions.lessons import Lesson, Teacher, read_real
from posescore.lab.train.positions.material import Material
from posescore.lab.train.positions.recording import Recorded
from posescore.lab.train.positions.stack import Sizes, Stack

Tensor = torch.Tensor
Weights = dict[str, np.ndarray[Any, Any]]
Say = Callable[[str], None]


class Learned(NamedTuple):
    """Networks, and how many pictures each has seen."""

    weights: list[Weights]
    pictures: int


Keep = Callable[[Learned], None]


@dataclass(frozen=True, slots=True)
class Plan:
    """Sizes and rates of learning."""

    pictures: int = 80_000_000
    """Seen by every network, each picture once."""
    longest_s: float = float("inf")
    """Learning ends after this many seconds if that comes first, with its rates let down."""
    batch: int = 4096
    at_once: int = 8
    """Batches drawn together: small operations cost a GPU more than large ones."""
    learning_rate: float = 2e-3
    decay: float = 0.02
    dropout: float = 0.0
    judge_steps: int = 3000
    restoring: float = 0.5
    """Weight of restoring keypoints against naming the state."""
    real_share: float = 0.25
    """Of pictures from a pose pass, where there are any."""
    compiled: bool = True
    """On a GPU fuse small operations first: half a minute of waiting, then thrice as fast."""
    sizes: Sizes = field(default_factory=Sizes)

    def about(self, pictures: int, with_real: bool) -> str:
        """How so many pictures were seen, in words, for the card."""
        real = f", {self.real_share:.0%} of them from a pose pass" if with_real else ""
        return f"{pictures / 1e6:.1f} million pictures{real}, rate {self.learning_rate:g}"


def learn(
    material: Material,
    plan: Plan,
    seed: int,
    networks: Sequence[int] | None = None,
    device: str = "cpu",
    real: Sequence[Path] = (),
    start: Sequence[Weights] | None = None,
    say: Say = print,
    keep: Keep | None = None,
) -> Learned:
    """The chosen networks: k never learns from fold k, the last one learns from all.

    Parameters
    ----------
    material
        What is learned from.
    plan, seed
        Sizes, rates, and of everything that is random.
    networks
        Which of the ``n_folds + 1`` networks; None learns all. Several machines or GPUs can each
        take some.
    device
        A torch device.
    real
        Files of what a pose pass gives, besides.
    start
        Weights to go on from, of the same networks.
    say
        Is told of progress.
    keep
        Is given the networks every ten seconds: what an end before the end leaves.
    """
    chosen = list(range(material.n_folds + 1)) if networks is None else list(networks)
    place = torch.device(device)
    if place.type == "cuda":
        torch.cuda.set_device(place)
    chance = Chance(seed, place)
    torch.manual_seed(seed)
    torch.set_float32_matmul_precision("high")
    began = time.monotonic()
    ways = Ways.of(material, place)
    judges = judges_of(material, ways, chance, plan.judge_steps)
    accuracy, f1 = held_back_score(judges, material)
    say(
        f"{time.monotonic() - began:.0f} s: poses in 3D have judges; on held-back frames "
        f"accuracy {accuracy:.3f}, macro-F1 over states {f1:.3f}."
    )
    given = read_real(real, material, place) if real else None
    teacher = Teacher(material, ways, judges, chance, given, plan.real_share)
    stack = Stack(len(chosen), plan.sizes, chance)
    if start is not None:
        stack.begin_with(start)
    return _go_through(stack, teacher, chosen, plan, began, say, keep)


class _Progress:
    """How far learning is, by pictures or by time, and what is told of it."""

    def __init__(self, plan: Plan, began: float, device: torch.device, say: Say) -> None:
        self.plan, self.began, self.say = plan, began, say
        self.going = self.told = time.monotonic()
        self.steps, self.since = 0, 0
        self.total = torch.zeros(3, device=device)

    @property
    def pictures(self) -> int:
        """Seen so far."""
        return self.steps * self.plan.batch

    @property
    def done(self) -> float:
        """From 0 to 1."""
        past_s = time.monotonic() - self.going
        by_time = past_s / (self.plan.longest_s - (self.going - self.began))
        return max(self.pictures / self.plan.pictures, by_time)

    def tell(self, steps: int) -> bool:
        """Counts steps; every ten seconds says how it goes, and returns True."""
        self.steps, self.since = self.steps + steps, self.since + steps
        if time.monotonic() - self.told < 10:
            return False
        name, restore, right = (self.total / self.since).tolist()
        self.say(
            f"{time.monotonic() - self.began:.0f} s, "
            f"{self.pictures / 1e6:.1f} million: "
            f"naming {name:.3f}, restoring {restore:.3f}, right {right:.3f}"
        )
        self.total.zero_()
        self.since, self.told = 0, time.monotonic()
        return True


def _go_through(
    stack: Stack, teacher: Teacher, chosen: list[int], plan: Plan, began: float, say: Say,
    keep: Keep | None,
) -> Learned:  # fmt: skip
    """Draw and learn, batch after batch, until enough pictures are seen or time is up."""
    device = teacher.chance.device
    rate = torch.tensor(0.0, device=device)
    gpu = device.type == "cuda"
    hand = torch.optim.AdamW(
        stack.parameters(), lr=rate, betas=(0.9, 0.98), weight_decay=plan.decay,
        capturable=gpu, fused=gpu,
    )  # fmt: skip
    draw = Recorded(lambda: teacher.drawn(plan.batch, plan.at_once), device, teacher.chance.source)
    desk = Lesson(*(part[0].clone() for part in draw()))
    only = torch.as_tensor(chosen, device=device)
    look = torch.compile(stack) if plan.compiled and gpu else stack
    learn_it = Recorded(lambda: _step(stack, look, desk, only, plan, hand), device)
    progress = _Progress(plan, began, device, say)
    while (done := progress.done) < 1:
        lessons = draw()
        for index in range(plan.at_once):
            for place, part in zip(desk, lessons, strict=True):
                place.copy_(part[index])
            rate.fill_(plan.learning_rate * _rate_at(done))
            progress.total += learn_it()
        if progress.tell(plan.at_once) and keep is not None:
            keep(Learned(stack.weights(), progress.pictures))
    return Learned(stack.weights(), progress.pictures)


def _rate_at(done: float) -> float:
    """Rises over the first fiftieth of learning and falls as a cosine."""
    return min(done / 0.02 + 0.01, 0.5 + 0.5 * float(np.cos(np.pi * done)))


def _step(
    stack: Stack,
    look: Callable[[Tensor, float], tuple[Tensor, Tensor]],
    lesson: Lesson,
    only: Tensor,
    plan: Plan,
    hand: torch.optim.Optimizer,
) -> Tensor:
    kind = lesson.rows.device.type
    with torch.autocast(kind, torch.bfloat16, enabled=kind == "cuda"):
        logits, restored = look(lesson.rows, plan.dropout)
    target, counts = lesson.target[only], lesson.counts[only]
    lost = -(target * functional.log_softmax(logits, -1)).sum(-1)
    naming = (lost * counts).sum(1) / counts.sum(1).clamp_min(1)
    restoring = _restoring(restored.float(), lesson)
    hand.zero_grad(set_to_none=False)
    (naming.sum() + plan.restoring * (restoring * counts).mean(1).sum()).backward()
    for weight in stack.parameters():  # each network on its own
        if weight.grad is not None:
            size = weight.grad.flatten(1).norm(dim=1).clamp_min(1e-6)
            weight.grad.mul_((1.0 / size).clamp_max(1.0).reshape(-1, *[1] * (weight.dim() - 1)))
    hand.step()
    with torch.no_grad():
        right = (logits.argmax(-1) == target.argmax(-1)).float()
        right = (right * counts).sum() / counts.sum()
        return torch.stack([naming.mean(), restoring.mean(), right])


def _restoring(restored: Tensor, lesson: Lesson) -> Tensor:
    """``(count, n)``: how far restored keypoints are off, and outliers misjudged."""
    truth, told = lesson.truth, lesson.told
    off = functional.smooth_l1_loss(
        restored[..., :3], truth[..., :3].expand_as(restored[..., :3]), reduction="none", beta=0.1
    ).sum(-1)
    wrong = functional.binary_cross_entropy_with_logits(
        restored[..., 3], truth[..., 3].expand_as(restored[..., 3]), reduction="none"
    )
    weight = told / told.sum((1, 2), keepdim=True).clamp_min(1e-6)
    return ((off + wrong) * weight).sum((2, 3))
