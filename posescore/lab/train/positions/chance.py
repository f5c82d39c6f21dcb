"""Random tensors from one seed, on any device."""

from __future__ import annotations

import torch

Tensor = torch.Tensor


class Chance:
    """Draws everything that is random in learning; the same seed gives the same on one device."""

    def __init__(self, seed: int, device: torch.device) -> None:
        self.device = device
        self.source = torch.Generator(device).manual_seed(seed)

    def even(self, *shape: int) -> Tensor:
        """Evenly between 0 and 1."""
        return torch.rand(shape, generator=self.source, device=self.device)

    def normal(self, *shape: int) -> Tensor:
        """Of mean 0 and standard deviation 1."""
        return torch.randn(shape, generator=self.source, device=self.device)

    def yes(self, share: float | Tensor, *shape: int) -> Tensor:
        """True in this share of cases."""
        return self.even(*shape) < share

    def whole(self, below: int, *shape: int) -> Tensor:
        """Whole numbers from 0."""
        return torch.randint(below, shape, generator=self.source, device=self.device)

    def rows(self, reach: Tensor, count: int) -> Tensor:
        """Rows drawn with replacement by weight; ``reach`` is the running sum of weights."""
        at = self.even(count).to(reach.dtype) * reach[-1]
        return torch.searchsorted(reach, at).clamp_max(len(reach) - 1)

    def order(self, count: int) -> Tensor:
        """All rows in a random order."""
        return torch.randperm(count, generator=self.source, device=self.device)
