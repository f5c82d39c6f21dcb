"""Random draws from one seeded generator, in the shapes that the corpus needs."""

from __future__ import annotations

import copy
from collections.abc import Sequence

import torch
from torch import Tensor


class Dice:
    """Draws on one device from one seed: the same seed gives the same pictures."""

    def __init__(self, seed: int, device: torch.device) -> None:
        self.device, self.dtype = device, torch.float32
        self.generator = torch.Generator(device=device)
        self.generator.manual_seed(seed)
        self._constants: dict[object, Tensor] = {}

    def of(self, dtype: torch.dtype) -> Dice:
        """The same generator, whose numbers are of another type."""
        other = copy.copy(self)
        other.dtype = dtype
        return other

    def constant(self, values: Sequence[float] | Sequence[Sequence[float]]) -> Tensor:
        """Numbers on the device, brought there once: bringing them makes a GPU wait."""
        key = tuple(v if isinstance(v, int | float) else tuple(v) for v in values)
        if key not in self._constants:
            self._constants[key] = torch.tensor(values, device=self.device)
        return self._constants[key]

    def uniform(self, *shape: int, low: float = 0.0, high: float = 1.0) -> Tensor:
        """Evenly between two numbers."""
        draw = torch.rand(*shape, generator=self.generator, device=self.device, dtype=self.dtype)
        return draw * (high - low) + low

    def normal(self, *shape: int) -> Tensor:
        """Mean 0, standard deviation 1."""
        return torch.randn(*shape, generator=self.generator, device=self.device, dtype=self.dtype)

    def integers(self, high: int, *shape: int) -> Tensor:
        """Evenly among ``0 .. high - 1``."""
        return torch.randint(high, shape, generator=self.generator, device=self.device)

    def happens(self, probability: float | Tensor, *shape: int) -> Tensor:
        """True with a probability."""
        return self.uniform(*shape) < probability

    def weighted(self, weights: Tensor, count: int) -> Tensor:
        """Indices drawn in proportion to weights, with replacement."""
        total = weights.cumsum(0)
        found = torch.searchsorted(total, self.uniform(count) * total[-1], right=True)
        return found.clamp(max=len(weights) - 1)

    def either(self, probability: float | Tensor, first: Tensor, second: Tensor) -> Tensor:
        """The first with a probability, else the second; one draw a row, last axis kept whole."""
        return torch.where(self.happens(probability, *first.shape[:-1])[..., None], first, second)

    def switch(self, probability: float | Tensor, value: Tensor, other: float = 0.0) -> Tensor:
        """The value with a probability, else ``other``; one draw an element."""
        return torch.where(self.happens(probability, *value.shape), value, other)

    def colour(self, *shape: int, saturation: float = 0.8, low: float = 0.03) -> Tensor:
        """Any colour ``(*shape, 3)``, more or less saturated."""
        value = self.uniform(*shape, 1, low=low, high=0.95)
        hue = self.uniform(*shape, 3) * self.uniform(*shape, 1, high=saturation)
        return (value * (1 - hue)).clamp(0.01, 1)

    def palette(
        self, colours: Sequence[Sequence[float]], *shape: int, spread: float = 0.05
    ) -> Tensor:
        """One of some colours ``(*shape, 3)``, a little off."""
        table = self.constant(colours)
        chosen = table[self.integers(len(table), *shape)]
        return (chosen + spread * self.normal(*shape, 3)).clamp(0.01, 1)
