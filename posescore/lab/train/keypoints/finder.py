"""The pair finder: where the two athletes are in a whole frame, without a hint.

A small network reads the frame letter-boxed into a square and says, for each edge of the pair's
box, how likely it lies in each of 64 columns or rows. Referees and bystanders are in its training
pictures and never in the box it is asked for.
"""

from __future__ import annotations

from typing import Final

import torch
from torch import Tensor, nn
from torch.nn import functional

from posescore.lab.corpus.pictures import Batch
from posescore.lab.train.keypoints.encoder import Encoder
from posescore.lab.train.keypoints.network import QueryLayer, SceneLayer, doubled, places

EDGE_BINS: Final = 64
_WIDTH: Final = 96
_HEADS: Final = 4
_CELLS: Final = 16
_TARGET_SIGMA_BINS: Final = 1.0
_MASK_WEIGHT: Final = 2.0


class PairFinder(nn.Module):
    """Four queries, one an edge, look at an encoder's maps; see the module's text."""

    place: Tensor

    def __init__(self, encoder: Encoder) -> None:
        super().__init__()
        self.encoder = encoder
        _, _, c16, c32 = encoder.channels
        d = _WIDTH
        self.take16, self.take32 = nn.Conv2d(c16, d, 1), nn.Conv2d(c32, d, 1)
        self.register_buffer("place", places(_CELLS, d), persistent=False)
        self.scene = nn.ModuleList(SceneLayer(d, _HEADS) for _ in range(2))
        self.edge = nn.Parameter(torch.randn(1, 4, d) * 0.5)
        self.look = nn.ModuleList(QueryLayer(d, _HEADS) for _ in range(2))
        self.norm = nn.LayerNorm(d)
        self.bins = nn.Linear(d, EDGE_BINS)
        self.mask = nn.Linear(d, 1)

    def forward(self, picture: Tensor) -> tuple[Tensor, Tensor]:
        """``(n, 3, 256, 256)`` in 0..1 to logits ``(n, 4, 64)`` of edges and ``(n, 256)`` of cells.

        Edges are left, top, right, bottom; a cell is 1 where an athlete of the pair is.
        """
        _, _, c16, c32 = self.encoder(picture)
        coarse = self.take16(c16) + doubled(self.take32(c32))
        tokens = coarse.flatten(2).transpose(1, 2)
        for layer in self.scene:
            tokens = layer(tokens, self.place)
        x = self.edge.expand(len(picture), -1, -1)
        for layer in self.look:
            x = layer(x, self.edge, tokens, self.place)
        return self.bins(self.norm(x)), self.mask(tokens)[..., 0]


def finder_loss(edges: Tensor, cells: Tensor, batch: Batch) -> Tensor:
    """Cross-entropy of the edges against narrow bumps, and of the cells."""
    bins = (torch.arange(EDGE_BINS, device=edges.device) + 0.5) / EDGE_BINS
    apart = (batch.box[..., None] - bins) * EDGE_BINS
    bump = torch.exp(-(apart**2) / (2 * _TARGET_SIGMA_BINS**2))
    bump = bump / bump.sum(-1, keepdim=True)
    edge_loss = -(bump * edges.float().log_softmax(-1)).sum(-1).mean()
    people = functional.avg_pool2d((batch.label > 0).float()[:, None], 4).flatten(1)
    cell_loss = functional.binary_cross_entropy_with_logits(cells.float(), people)
    return edge_loss + _MASK_WEIGHT * cell_loss


def boxes_of(edges: Tensor) -> Tensor:
    """Boxes ``(n, 4)`` as shares of the picture: the mean bin of each edge."""
    bins = (torch.arange(EDGE_BINS, device=edges.device) + 0.5) / EDGE_BINS
    return (edges.float().softmax(-1) * bins).sum(-1)
