"""Constants as tensors, made once for each device: a recording must not fetch them anew."""

from __future__ import annotations

from collections.abc import Hashable
from functools import cache
from typing import Any

import torch

Tensor = torch.Tensor


def fixed(values: Any, device: torch.device, dtype: torch.dtype | None = None) -> Tensor:
    """A tensor of numbers (nested sequences or arrays), the same one at every call."""
    return _fixed(_frozen(values), device, dtype)


def _frozen(values: Any) -> Hashable:
    if hasattr(values, "tolist"):
        values = values.tolist()
    return tuple(map(_frozen, values)) if isinstance(values, list | tuple) else values


@cache
def _fixed(values: Any, device: torch.device, dtype: torch.dtype | None) -> Tensor:
    return torch.tensor(values, device=device, dtype=dtype)
