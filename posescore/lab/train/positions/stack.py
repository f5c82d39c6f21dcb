"""Several networks that judge a pair, side by side, as they learn.

All networks see the same pictures in one pass; each learns only from those not barred from it.
Besides the state they learn to tell where every keypoint truly is, how deep, and whether it was an
outlier: that teaches them to see through errors, and is left out of what ships.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
from torch.nn import functional

from posescore.lab.train.positions.chance import Chance
from posescore.lab.train.positions.tokens import (
    EVEN,
    MOST,
    N_TOKENS,
    PER_KEYPOINT,
    SIDED,
    WAVES,
    answer_columns,
    gathering,
)

Tensor = torch.Tensor


@dataclass(frozen=True, slots=True)
class Sizes:
    """Of one network."""

    width: int = 64
    wide: int = 128
    layers: int = 3
    heads: int = 4
    judging: int = 128


class Stack(torch.nn.Module):
    """Weights with a leading axis of networks."""

    def __init__(self, count: int, sizes: Sizes, chance: Chance) -> None:
        super().__init__()
        self.count, self.sizes = count, sizes
        w, wide, deep = sizes.width, sizes.wide, sizes.layers

        def started(spread: float, *shape: int) -> torch.nn.Parameter:
            return torch.nn.Parameter(spread * chance.normal(count, *shape))

        tokens = N_TOKENS - 1
        answers = len(SIDED) + len(EVEN)
        self.embed = started((2 / 20) ** 0.5, tokens, MOST * PER_KEYPOINT, w)
        self.token = started(0.5, N_TOKENS, w)
        self.look = started(w**-0.5, deep, w, 3 * w)
        self.heed = started(0.02, deep, sizes.heads, N_TOKENS, 2 * N_TOKENS)
        self.tell = started((w * 2 * deep) ** -0.5, deep, w, w)
        self.widen = started((2 / w) ** 0.5, deep, w, wide)
        self.widen_bias = started(0.0, deep, 1, wide)
        self.narrow = started((wide * 2 * deep) ** -0.5, deep, wide, w)
        self.own = started(w**-0.5, w, sizes.judging)
        self.other = started(w**-0.5, w, sizes.judging)
        self.bias = started(0.0, 1, sizes.judging)
        self.answer = started(0.02, sizes.judging, answers)
        self.answer_bias = started(0.0, 1, answers)
        self.restore = started(0.02, tokens, w, MOST * 4)
        with torch.no_grad():  # half of the heads begin with the own body, half with the opponent's
            half = sizes.heads // 2
            self.heed[:, :, :half, :, :N_TOKENS] += 1.0
            self.heed[:, :, half:, :, N_TOKENS:] += 1.0
            self.look[..., : 2 * w] *= (sizes.heads / w) ** 0.25
        self.gather = torch.as_tensor(gathering(), device=chance.device)
        flat = gathering().ravel().tolist()
        self.back = torch.as_tensor([flat.index(k) for k in range(21)], device=chance.device)
        self.columns = torch.as_tensor(answer_columns(), device=chance.device)
        self.waves = torch.tensor(WAVES, device=chance.device)

    def forward(self, rows: Tensor, dropout: float = 0.0) -> tuple[Tensor, Tensor]:
        """Logits ``(count, n, n_states)`` and what is restored, ``(count, n, 2, 21, 4)``."""
        x = self._tokens(rows)
        for i in range(self.sizes.layers):
            x = x + functional.dropout(self._look_around(x, i), dropout)
            wide = torch.baddbmm(self.widen_bias[:, i].to(x.dtype), _even(x), self.widen[:, i])
            wide = functional.dropout(functional.relu(wide), dropout)
            x = x + torch.bmm(wide, self.narrow[:, i])
        x = _even(x).unflatten(1, (len(rows), 2, N_TOKENS))
        restored = torch.einsum("enatd,etdk->enatk", x[:, :, :, :-1], self.restore)
        restored = restored.unflatten(-1, (MOST, 4)).flatten(3, 4)[:, :, :, self.back]
        return self._answer(x[:, :, :, -1], dropout), restored

    def _tokens(self, rows: Tensor) -> Tensor:
        """``(count, n * 28, width)``."""
        phase = rows[..., :2, None] * self.waves
        waves = torch.stack([phase.sin(), phase.cos()], -1).flatten(-3) * rows[..., 2:3]
        seen = functional.pad(torch.cat([rows, waves], -1), (0, 0, 0, 1))[:, :, self.gather]
        seen = seen.flatten(-2).flatten(0, 1).transpose(0, 1)  # (13, 2n, 80)
        tokens = torch.matmul(seen, self.embed).transpose(1, 2)  # (count, 2n, 13, width)
        tokens = functional.pad(tokens, (0, 0, 0, 1)) + self.token[:, None].to(tokens.dtype)
        return tokens.flatten(1, 2)

    def _look_around(self, x: Tensor, i: int) -> Tensor:
        heads = self.sizes.heads
        asked = torch.bmm(_even(x), self.look[:, i]).unflatten(1, (-1, 2 * N_TOKENS))
        asked = asked.unflatten(-1, (3, heads, -1)).permute(3, 0, 1, 4, 2, 5)
        query, key, value = asked.unbind(0)  # (count, n, heads, 28, depth)
        heed = self.heed[:, i]
        turned = torch.cat([heed[..., N_TOKENS:], heed[..., :N_TOKENS]], -1)
        table = torch.cat([heed, turned], 2)[:, None]
        share = torch.matmul(query, key.transpose(-1, -2)) + table.to(query.dtype)
        with torch.autocast(share.device.type, enabled=False):
            share = share.softmax(-1)
        heard = torch.matmul(share, value)
        return torch.bmm(heard.transpose(2, 3).flatten(3).flatten(1, 2), self.tell[:, i])

    def _answer(self, whole: Tensor, dropout: float) -> Tensor:
        n = whole.shape[1]
        hidden = torch.bmm(whole.flatten(1, 2), self.own) + torch.bmm(
            whole.flip(2).flatten(1, 2), self.other
        )
        hidden = functional.dropout(functional.relu(hidden + self.bias.to(hidden.dtype)), dropout)
        answers = torch.baddbmm(self.answer_bias.to(hidden.dtype), hidden, self.answer)
        answers = answers.unflatten(1, (n, 2)).float()
        sided = answers[..., : len(SIDED)].flatten(2)
        even = answers[..., len(SIDED) :].mean(2)
        return torch.cat([sided, even], -1)[..., self.columns]

    @torch.no_grad()
    def begin_with(self, start: Sequence[dict[str, np.ndarray[Any, Any]]]) -> None:
        """Take over what :meth:`weights` gave of the same number of networks."""
        for name, weight in self.named_parameters():
            if name in start[0]:
                stacked = np.stack([w[name] for w in start])
                weight.copy_(torch.as_tensor(stacked).reshape(weight.shape))

    def weights(self) -> list[dict[str, np.ndarray[Any, Any]]]:
        """Of each network, as :mod:`posescore.lab.train.positions.export` writes them."""
        named = {k: v.detach().float().cpu().numpy() for k, v in self.named_parameters()}
        named.pop("restore")
        for name in ("widen_bias", "bias", "answer_bias"):
            named[name] = named[name].squeeze(-2)
        return [{k: v[i] for k, v in named.items()} for i in range(self.count)]


def _even(x: Tensor) -> Tensor:
    """Vectors of root mean square 1."""
    square = torch.linalg.vector_norm(x, dim=-1, keepdim=True, dtype=torch.float32).square()
    return x * torch.rsqrt(square / x.shape[-1] + 1e-5).to(x.dtype)
