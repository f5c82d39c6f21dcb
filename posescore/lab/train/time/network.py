"""The model in time as it learns: attention over the parts of both bodies, convolutions over time.

Every instant is seen as a position network sees a picture
(:mod:`posescore.lab.train.positions.tokens`): fourteen tokens an athlete, which heed each other by
learned tables. What that makes of either athlete, and how the athlete moves, passes through
convolutions over time. The same weights serve both athletes, so that exchanging them exactly
exchanges the answer.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import torch
from torch import Tensor, nn
from torch.nn import functional

from posescore.holds.film.features import N_MOTION
from posescore.holds.film.outputs import CRITERIA
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

WIDTH: Final = 64
WIDE: Final = 160
HEADS: Final = 4
LAYERS: Final = 3
TIME_WIDTH: Final = 96
KERNEL: Final = 5
DILATIONS: Final = (1, 2, 4, 8, 16)
N_WAY_ANSWERS: Final = 6
"""Of either athlete: takedown, pull, given up and what shows it; of both: none, what shows it."""


class Answers(NamedTuple):
    """What the model says of every instant; ``b`` films of ``t`` instants.

    ``states (b, t, n_states)`` logits; ``criteria (b, t, 2, n_criteria, 2)``: log odds and how much
    the instant shows, before the logistic, with either athlete as the upper one (axis 2);
    ``ways (b, t, 6)``: logits of :data:`posescore.holds.film.outputs.WAYS`, then what shows them;
    ``given_up (b, t, 2, 2)`` likewise.
    """

    states: Tensor
    criteria: Tensor
    ways: Tensor
    given_up: Tensor


class Instant(nn.Module):
    """Attention over the tokens of one instant, ``(n, 2, 21, 4)`` to ``(n, 2, WIDTH)``."""

    def __init__(self) -> None:
        super().__init__()

        def drawn(*shape: int, fan: int) -> nn.Parameter:
            return nn.Parameter(torch.randn(shape) * fan**-0.5)

        self.embed = drawn(N_TOKENS - 1, MOST * PER_KEYPOINT, WIDTH, fan=60)
        self.token = drawn(N_TOKENS, WIDTH, fan=20)
        self.look = nn.ParameterList(drawn(WIDTH, 3 * WIDTH, fan=WIDTH) for _ in range(LAYERS))
        self.heed = nn.ParameterList(
            nn.Parameter(torch.zeros(HEADS, N_TOKENS, 2 * N_TOKENS)) for _ in range(LAYERS)
        )
        self.tell = nn.ParameterList(drawn(WIDTH, WIDTH, fan=4 * WIDTH) for _ in range(LAYERS))
        self.widen = nn.ModuleList(nn.Linear(WIDTH, WIDE) for _ in range(LAYERS))
        self.narrow = nn.ModuleList(nn.Linear(WIDE, WIDTH) for _ in range(LAYERS))
        self.register_buffer("gather", torch.as_tensor(gathering()))
        self.register_buffer("waves", torch.tensor(WAVES))

    def forward(self, poses: Tensor) -> Tensor:
        """The token of either whole athlete."""
        x = self._tokens(poses)
        for layer in range(LAYERS):
            x = x + self._attended(x, layer)
            x = x + self.narrow[layer](functional.relu(self.widen[layer](_even(x))))
        return _even(x[:, [N_TOKENS - 1, 2 * N_TOKENS - 1]])

    def _tokens(self, poses: Tensor) -> Tensor:
        phase = poses[..., :2, None] * self.waves
        waves = torch.cat([phase.sin(), phase.cos()], -1).flatten(-2) * poses[..., 2:3]
        seen = functional.pad(torch.cat([poses, waves], -1), (0, 0, 0, 1))
        seen = seen[:, :, self.gather.flatten()].reshape(-1, 2, N_TOKENS - 1, MOST * PER_KEYPOINT)
        tokens = torch.matmul(seen.unsqueeze(-2), self.embed).squeeze(-2)
        return (functional.pad(tokens, (0, 0, 0, 1)) + self.token).flatten(1, 2)

    def _attended(self, x: Tensor, layer: int) -> Tensor:
        asked = (_even(x) @ self.look[layer]).reshape(-1, 2 * N_TOKENS, 3, HEADS, WIDTH // HEADS)
        query, key, value = asked.permute(2, 0, 3, 1, 4).unbind(0)
        heed = self.heed[layer]
        turned = torch.cat([heed[..., N_TOKENS:], heed[..., :N_TOKENS]], -1)
        weight = query @ key.transpose(-1, -2) * (WIDTH // HEADS) ** -0.5
        weight = (weight + torch.cat([heed, turned], 1)).softmax(-1)
        return (weight @ value).transpose(1, 2).flatten(2) @ self.tell[layer]


class TimeNetwork(nn.Module):
    """Answers at every instant of a film."""

    def __init__(self) -> None:
        super().__init__()
        self.instant = Instant()
        self.enter = nn.Linear(WIDTH + N_MOTION, TIME_WIDTH)
        self.over_time = nn.ModuleList(
            nn.Conv1d(2 * TIME_WIDTH, TIME_WIDTH, KERNEL, padding=d * (KERNEL // 2), dilation=d)
            for d in DILATIONS
        )
        self.norms = nn.ModuleList(nn.LayerNorm(TIME_WIDTH) for _ in DILATIONS)
        self.last = nn.Linear(2 * TIME_WIDTH, 2 * TIME_WIDTH)
        self.states = nn.Linear(2 * TIME_WIDTH, len(SIDED) + len(EVEN))
        self.criteria = nn.Linear(2 * TIME_WIDTH, 2 * len(CRITERIA))
        self.ways = nn.Linear(2 * TIME_WIDTH, N_WAY_ANSWERS)
        self.register_buffer("columns", torch.as_tensor(answer_columns()))
        self.prior = nn.Parameter(torch.zeros(len(CRITERIA)))
        """Log odds of a criterion where nothing is shown."""
        self.doubt = nn.Parameter(torch.zeros(len(CRITERIA) + 2))
        """How many instants' worth that counts (softplus); of criteria, ways and giving up."""

    def forward(self, poses: Tensor, motion: Tensor, dropout: float = 0.0) -> Answers:
        """Answers for ``poses (b, t, 2, 21, 4)`` and ``motion (b, t, 2, N_MOTION)``."""
        batch, length = poses.shape[:2]
        whole = self.instant(poses.flatten(0, 1)).reshape(batch, length, 2, WIDTH)
        whole = functional.dropout(whole, dropout, self.training)
        x = functional.relu(self.enter(torch.cat([whole, motion], -1)))
        x = x.transpose(1, 2)  # (b, 2, t, width)
        for convolution, norm in zip(self.over_time, self.norms, strict=True):
            own = norm(x)
            both = torch.cat([own, own.flip(1)], -1).flatten(0, 1).transpose(1, 2)
            made = functional.relu(convolution(both)).transpose(1, 2)
            made = functional.dropout(made, dropout, self.training)
            x = x + made.reshape(batch, 2, length, TIME_WIDTH)
        x = torch.cat([x, x.flip(1)], -1)
        x = functional.relu(self.last(x)).transpose(1, 2)  # (b, t, 2, 2 * width)
        answers = self.states(x)
        sided, even = answers[..., : len(SIDED)].flatten(-2), answers[..., len(SIDED) :].mean(-2)
        states = torch.cat([sided, even], -1)[..., self.columns]
        criteria = self.criteria(x).reshape(batch, length, 2, len(CRITERIA), 2)
        ways = self.ways(x)
        even_ways = ways[..., 4:].mean(-2)
        shown = torch.cat([even_ways[..., :1], ways[..., 0], ways[..., 1], even_ways[..., 1:]], -1)
        return Answers(states, criteria, shown, ways[..., 2:4])


def _even(x: Tensor) -> Tensor:
    return x * torch.rsqrt(x.square().mean(-1, keepdim=True) + 1e-5)
