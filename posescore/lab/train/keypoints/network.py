"""The pair network: both athletes' keypoints from a crop that holds the pair.

Forty-two queries, one for each keypoint of each athlete, look at the encoder's maps by attention
and end as one heat map each: the product of the query with an embedding of every pixel. Which of
the two slots takes which athlete is left to the network; the loss accepts either.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import torch
from torch import Tensor, nn
from torch.nn import functional

from posescore.lab.train.keypoints.encoder import Encoder
from posescore.lab.train.keypoints.fused import RELU, STRAIGHT, convolved
from posescore.pose.oks import SIGMAS
from posescore.terms import N_KEYPOINTS

SIDE_PX: Final = 256
HEAT_CELLS: Final = 64
N_PARTS: Final = 15
_WIDTH: Final = 160
_HEADS: Final = 5
_PIXEL_WIDTH: Final = 96

_BODY_OVER_PEAKS: Final = 1.15
_SMALLEST_CURVE_CELLS: Final = 0.7
"""As in :mod:`posescore.pose.estimators.heat_maps`."""


class Outputs(NamedTuple):
    """What one stage of the network says.

    ``heat (n, 2, 21, 4096)`` logits over cells; ``mask (n, 2, 4096)`` logits; ``visible`` and
    ``sure (n, 2, 21)`` logits: not behind anything; within a tenth of the athlete's size.
    """

    heat: Tensor
    mask: Tensor
    visible: Tensor
    sure: Tensor


class Attention(nn.Module):
    """Several heads of scaled dot-product attention."""

    def __init__(self, width: int, heads: int) -> None:
        super().__init__()
        self.heads = heads
        self.query, self.key = nn.Linear(width, width), nn.Linear(width, width)
        self.value, self.out = nn.Linear(width, width), nn.Linear(width, width)

    def forward(self, x: Tensor, keys: Tensor, values: Tensor) -> Tensor:
        """Let ``x (n, q, d)`` look at ``values (n, k, d)`` by ``keys``."""
        n, count, width = x.shape

        def split(t: Tensor) -> Tensor:
            return t.reshape(n, -1, self.heads, width // self.heads).transpose(1, 2)

        seen = functional.scaled_dot_product_attention(
            split(self.query(x)), split(self.key(keys)), split(self.value(values))
        )
        return self.out(seen.transpose(1, 2).reshape(n, count, width))


class Mixer(nn.Module):
    """Two linear layers with a bend between."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.wide, self.narrow = nn.Linear(width, 3 * width), nn.Linear(3 * width, width)

    def forward(self, x: Tensor) -> Tensor:
        """Apply to every token."""
        return self.narrow(functional.gelu(self.wide(x)))


class SceneLayer(nn.Module):
    """Lets every place of the map look at every other."""

    def __init__(self, width: int, heads: int) -> None:
        super().__init__()
        self.norm_in, self.norm_mix = nn.LayerNorm(width), nn.LayerNorm(width)
        self.attention, self.mixer = Attention(width, heads), Mixer(width)

    def forward(self, x: Tensor, place: Tensor) -> Tensor:
        """Refine tokens ``(n, k, d)`` that stand at ``place (k, d)``."""
        y = self.norm_in(x)
        x = x + self.attention(y + place, y + place, y)
        return x + self.mixer(self.norm_mix(x))


class QueryLayer(nn.Module):
    """Lets the queries look at a map, then at each other."""

    def __init__(self, width: int, heads: int) -> None:
        super().__init__()
        self.norm_map, self.norm_self = nn.LayerNorm(width), nn.LayerNorm(width)
        self.norm_mix = nn.LayerNorm(width)
        self.look, self.talk = Attention(width, heads), Attention(width, heads)
        self.mixer = Mixer(width)

    def forward(self, x: Tensor, name: Tensor, tokens: Tensor, place: Tensor) -> Tensor:
        """Refine queries ``(n, q, d)`` named ``(q, d)`` by tokens that stand at ``place``."""
        x = x + self.look(self.norm_map(x) + name, tokens + place, tokens)
        y = self.norm_self(x)
        x = x + self.talk(y + name, y + name, y)
        return x + self.mixer(self.norm_mix(x))


class Filter(nn.Module):
    """A residual block: filter each channel over 5 x 5, then mix."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.depthwise = nn.Conv2d(width, width, 5, 1, 2, groups=width)
        self.mix = nn.Conv2d(width, width, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Apply and add."""
        return convolved(self.mix, convolved(self.depthwise, x, RELU), RELU, x)


def places(cells: int, width: int) -> Tensor:
    """Sines and cosines of where each cell of a square map stands, ``(cells ** 2, width)``."""
    y, x = torch.meshgrid(torch.arange(cells) + 0.5, torch.arange(cells) + 0.5, indexing="ij")
    frequency = 2 * math.pi / cells * 0.5 * 1.35 ** torch.arange(width // 4).float()
    waves = [f(axis[..., None] * frequency) for axis in (x, y) for f in (torch.sin, torch.cos)]
    return torch.cat(waves, -1).reshape(cells * cells, width)


def doubled(x: Tensor) -> Tensor:
    """A map at twice the resolution."""
    return functional.interpolate(x, scale_factor=2.0, mode="bilinear")


class PairNetwork(nn.Module):
    """Encoder, queries and heads; see the module's text."""

    place16: Tensor
    place8: Tensor
    place4: Tensor

    def __init__(self, encoder: Encoder) -> None:
        super().__init__()
        self.encoder = encoder
        c4, c8, c16, c32 = encoder.channels
        d, e = _WIDTH, _PIXEL_WIDTH
        self.take32, self.take16 = nn.Conv2d(c32, d, 1), nn.Conv2d(c16, d, 1)
        self.take8, self.take4 = nn.Conv2d(c8, d, 1), nn.Conv2d(c4, e, 1)
        self.down8, self.down4 = nn.Conv2d(d, d, 1), nn.Conv2d(d, e, 1)
        self.filter8, self.filter4 = Filter(d), Filter(e)
        self.again8, self.again4 = Filter(d), Filter(e)
        self.scene = nn.ModuleList(SceneLayer(d, _HEADS) for _ in range(2))
        self.coarse = nn.ModuleList(QueryLayer(d, _HEADS) for _ in range(4))
        self.fine = nn.ModuleList(QueryLayer(d, _HEADS) for _ in range(2))
        for name, cells, width in (("place16", 16, d), ("place8", 32, d), ("place4", 64, e)):
            self.register_buffer(name, places(cells, width), persistent=False)
        self.pixel = nn.Conv2d(e, e, 1)
        self.athlete = nn.Parameter(torch.randn(2, 1, d) * 0.5)
        self.keypoint = nn.Parameter(torch.randn(1, N_KEYPOINTS, d) * 0.5)
        self.last_norm = nn.LayerNorm(d)
        self.heat_head = nn.Sequential(nn.Linear(d, d), nn.GELU(), nn.Linear(d, e))
        self.mask_head = nn.Sequential(nn.Linear(d, d), nn.GELU(), nn.Linear(d, e + 1))
        self.sign_head = nn.Sequential(nn.Linear(d, d), nn.GELU(), nn.Linear(d, 2))
        self.part_head = nn.Conv2d(e, N_PARTS, 1)

    def forward(self, picture: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """``(n, 3, 256, 256)`` in 0..1 to the last stage's heat, mask, visible, sure."""
        stages, _ = self.stages(picture)
        last = stages[-1]
        return last.heat, last.mask, last.visible, last.sure

    def stages(self, picture: Tensor) -> tuple[list[Outputs], Tensor]:
        """Outputs after the second coarse layer and the last, and logits of body parts."""
        c4, c8, c16, c32 = self.encoder(picture)
        coarse = convolved(self.take16, c16, STRAIGHT, doubled(convolved(self.take32, c32)))
        tokens = coarse.flatten(2).transpose(1, 2)
        for layer in self.scene:
            tokens = layer(tokens, self.place16)
        cells = coarse.shape[-1]
        coarse = tokens.transpose(1, 2).reshape(-1, _WIDTH, cells, cells)
        middle = convolved(self.take8, c8, STRAIGHT, doubled(convolved(self.down8, coarse)))
        middle = self.again8(self.filter8(middle))
        fine = convolved(self.take4, c4, STRAIGHT, doubled(convolved(self.down4, middle)))
        fine = self.again4(self.filter4(fine))
        near = middle.flatten(2).transpose(1, 2)
        embedded = fine + self.place4.t().reshape(1, _PIXEL_WIDTH, HEAT_CELLS, HEAT_CELLS)
        pixels = convolved(self.pixel, embedded).flatten(2)
        name = (self.athlete + self.keypoint).reshape(1, 2 * N_KEYPOINTS, -1)
        x = name.expand(len(picture), -1, -1)
        stages = []
        for number, layer in enumerate(self.coarse):
            x = layer(x, name, tokens, self.place16)
            if number == 1:
                stages.append(self._said(x, pixels))
        for layer in self.fine:
            x = layer(x, name, near, self.place8)
        stages.append(self._said(x, pixels))
        return stages, convolved(self.part_head, fine)

    def _said(self, x: Tensor, pixels: Tensor) -> Outputs:
        x = self.last_norm(x)
        count, scale = len(x), 2 / math.sqrt(_PIXEL_WIDTH)
        heat = (self.heat_head(x) * scale @ pixels).reshape(count, 2, N_KEYPOINTS, -1)
        per_athlete = x.reshape(count, 2, N_KEYPOINTS, -1)
        key = self.mask_head(per_athlete.mean(2))
        mask = key[..., :-1] @ pixels * (scale / 2) + key[..., -1:]
        signs = self.sign_head(per_athlete)
        return Outputs(heat, mask, signs[..., 0], signs[..., 1])


def decode_heat(heat: Tensor) -> tuple[Tensor, Tensor]:
    """Keypoints ``(n, 2, 21, 2)`` in pixels and the mass at the peak, of heat logits.

    The peak's cell is refined to the centre of mass of the 5 x 5 cells around it.
    """
    share = heat.float().softmax(-1)
    peak = share.argmax(-1)
    row, column = peak // HEAT_CELLS, peak % HEAT_CELLS
    square = share.reshape(*share.shape[:-1], HEAT_CELLS, HEAT_CELLS)
    wide = functional.pad(square, (2, 2, 2, 2)).flatten(-2)
    mass = torch.zeros_like(share[..., 0])
    x, y = torch.zeros_like(mass), torch.zeros_like(mass)
    for dy in range(5):
        for dx in range(5):
            cell = (row + dy) * (HEAT_CELLS + 4) + column + dx
            value = wide.gather(-1, cell[..., None])[..., 0]
            mass, x, y = mass + value, x + value * (dx - 2), y + value * (dy - 2)
    step = SIDE_PX / HEAT_CELLS
    place = torch.stack([(column + 0.5 + x / mass) * step, (row + 0.5 + y / mass) * step], -1)
    return place, mass


def best_places(heat: Tensor) -> Tensor:
    """Keypoints ``(n, 2, 21, 2)`` in pixels as the runtime reads them, of heat logits.

    Where the expected similarity is highest: :mod:`posescore.pose.estimators.heat_maps`, for many
    at once.
    """
    share = heat.float().softmax(-1)
    peak = share.argmax(-1)
    points = torch.stack([peak % HEAT_CELLS, peak // HEAT_CELLS], -1).float() + 0.5
    size = _BODY_OVER_PEAKS * ((points.amax(2) - points.amin(2)).prod(-1) / 2).sqrt()
    sigma = torch.as_tensor(SIGMAS, dtype=torch.float32, device=heat.device)
    curve = (2 * sigma * size[..., None]).clamp(min=_SMALLEST_CURVE_CELLS)[..., None]
    cell = torch.arange(HEAT_CELLS, device=heat.device) + 0.5
    blur = torch.exp(-((cell[:, None] - cell) ** 2) / (2 * curve[..., None] ** 2))
    square = share.unflatten(-1, (HEAT_CELLS, HEAT_CELLS))
    best = (blur @ square @ blur).flatten(-2).argmax(-1)
    place = torch.stack([best % HEAT_CELLS, best // HEAT_CELLS], -1).float() + 0.5
    for _ in range(2):
        near_x = torch.exp(-((cell - place[..., :1]) ** 2) / (2 * curve**2))
        near_y = torch.exp(-((cell - place[..., 1:]) ** 2) / (2 * curve**2))
        columns = (near_y[..., None, :] @ square)[..., 0, :] * near_x
        rows = (square @ near_x[..., None])[..., 0] * near_y
        mass = columns.sum(-1, keepdim=True).clamp(min=1e-12)
        place = torch.stack([columns @ cell, rows @ cell], -1) / mass
    return place * (SIDE_PX / HEAT_CELLS)
