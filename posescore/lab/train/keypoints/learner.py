"""A module that learns: its weights as one row of numbers, so that a step is a few operations.

A network has some four hundred parameters; launching an optimiser's work for each costs more than
the work. Here all of them lie behind one another: in half precision where the network reads them,
in float32 where they are kept, and likewise their gradients and their running average.
"""

from __future__ import annotations

import copy
import os
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import torch
from torch import Tensor, distributed, nn

_GRADIENT_NORM: Final = 2.0
_DECAY: Final = 0.03
_AVERAGE: Final = 0.9985
_WARM_STEPS: Final = 300
_ALIGNED: Final = 64
"""Each parameter begins at a multiple of so many numbers: fast kernels ask for it."""


@dataclass(slots=True)
class Place:
    """Which process this is."""

    rank: int
    world: int
    device: torch.device

    @classmethod
    def join(cls) -> Place:
        """Join the other processes, if any."""
        world, rank = int(os.environ.get("WORLD_SIZE", "1")), int(os.environ.get("RANK", "0"))
        if not torch.cuda.is_available():
            return cls(0, 1, torch.device("cpu"))
        device = torch.device("cuda", int(os.environ.get("LOCAL_RANK", "0")))
        torch.cuda.set_device(device)
        if world > 1:
            distributed.init_process_group("nccl")
        return cls(rank, world, device)

    @property
    def precision(self) -> torch.dtype:
        """What networks compute in."""
        return torch.bfloat16 if self.device.type == "cuda" else torch.float32

    def averaged(self, gradient: Tensor) -> None:
        """Average a row of gradients over the processes and keep it short, in place.

        A gradient that is not finite counts as none: one bad batch must not end a run.
        """
        if self.world > 1:
            distributed.all_reduce(gradient, distributed.ReduceOp.AVG)
        gradient *= (_GRADIENT_NORM / (gradient.norm() + 1e-6)).clamp(max=1)
        gradient.nan_to_num_(0.0, 0.0, 0.0)

    def agreed(self, value: float) -> float:
        """The first process's number, the same everywhere."""
        if self.world == 1:
            return value
        number = torch.tensor([value], device=self.device, dtype=torch.float64)
        distributed.broadcast(number, 0)
        return float(number)


class Learner:
    """A module, its optimiser, and the running average that is kept.

    Parameters
    ----------
    module
        Becomes what is trained: half precision on a GPU, its parameters views of one row.
    encoder_share
        The share of the rate that the encoder learns at.
    """

    def __init__(self, module: nn.Module, place: Place, encoder_share: float) -> None:
        self._place, self._steps = place, 0
        module = module.to(place.device)
        self.average: Any = copy.deepcopy(module).eval()
        self.module = module.to(dtype=place.precision)
        groups: dict[tuple[bool, bool], list[str]] = {}
        for name, parameter in module.named_parameters():
            if parameter.requires_grad:
                key = (name.startswith("encoder."), parameter.ndim > 1)
                groups.setdefault(key, []).append(name)
        own, kept = dict(module.named_parameters()), dict(self.average.named_parameters())
        self.parameters = [own[n] for names in groups.values() for n in names]
        averages = [kept[n] for names in groups.values() for n in names]
        self._average = _as_one_row(averages)
        self._read = _as_one_row(self.parameters)
        self._master = self._average.clone()
        self.gradient = torch.zeros_like(self._master)
        self._gradients = _views(self.gradient, self.parameters)
        self._shares = [encoder_share if slow else 1.0 for slow, _ in groups]
        self._optimiser = self._made_optimiser(groups, own)

    def _made_optimiser(
        self, groups: dict[tuple[bool, bool], list[str]], own: dict[str, nn.Parameter]
    ) -> torch.optim.AdamW:
        settings, start = [], 0
        for (_, decays), names in groups.items():
            end = start + sum(_room(own[name]) for name in names)
            part = nn.Parameter(self._master[start:end])
            part.grad = self.gradient[start:end]
            settings.append({"params": [part], "weight_decay": _DECAY if decays else 0.0})
            start = end
        fused = self._place.device.type == "cuda"
        return torch.optim.AdamW(settings, betas=(0.9, 0.98), fused=fused)

    def forget(self) -> None:
        """Drop the gradients of a pass, before the next."""
        for parameter in self.parameters:
            parameter.grad = None

    def gather(self) -> None:
        """Bring the gradients of a pass into the row that :meth:`learn` reads."""
        pairs = [(v, p.grad) for v, p in zip(self._gradients, self.parameters, strict=True)]
        there = [(v, g) for v, g in pairs if g is not None]
        torch._foreach_copy_([v for v, _ in there], [g for _, g in there])

    def learn(self, rate: float) -> None:
        """One step down the gradients."""
        self._place.averaged(self.gradient)
        self._steps += 1
        warm = min(1.0, self._steps / _WARM_STEPS)
        for group, share in zip(self._optimiser.param_groups, self._shares, strict=True):
            group["lr"] = rate * share * warm
        self._optimiser.step()
        with torch.no_grad():
            self._read.copy_(self._master)
            keep = min(_AVERAGE, 1 - 1 / (self._steps / 10 + 1))
            self._average.lerp_(self._master, 1 - keep)


def _room(parameter: Tensor) -> int:
    return -(-parameter.numel() // _ALIGNED) * _ALIGNED


def _views(row: Tensor, parameters: Sequence[Tensor]) -> list[Tensor]:
    """Where each parameter lies in a row."""
    views, start = [], 0
    for parameter in parameters:
        views.append(row[start : start + parameter.numel()].view(parameter.shape))
        start += _room(parameter)
    return views


def _as_one_row(parameters: Sequence[nn.Parameter]) -> Tensor:
    """Let parameters of one type lie in one row, which is returned."""
    first = parameters[0]
    row = torch.zeros(sum(map(_room, parameters)), dtype=first.dtype, device=first.device)
    for parameter, view in zip(parameters, _views(row, parameters), strict=True):
        view.copy_(parameter.detach())
        parameter.data = view
    return row
