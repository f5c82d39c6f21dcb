"""The network's loss, its decoding, and its checkpoints."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from posescore.errors import MissingPartError  # noqa: E402
from posescore.pose.pair_network import decoded  # noqa: E402
from posescore.simulation.corpus.pictures import Batch  # noqa: E402
from posescore.simulation.pair_network.checkpoint import (  # noqa: E402
    load_checkpoint,
    save_checkpoint,
)
from posescore.simulation.pair_network.finder import EDGE_BINS, boxes_of  # noqa: E402
from posescore.simulation.pair_network.loss import Truth, pair_loss  # noqa: E402
from posescore.simulation.pair_network.network import N_PARTS, Outputs, decode_heat  # noqa: E402
from posescore.simulation.pair_network.scores import overlap, similarity  # noqa: E402


def made_batch() -> Batch:
    random = torch.Generator().manual_seed(0)
    keypoints = 20 + 216 * torch.rand(2, 2, 21, 2, generator=random)
    known = torch.ones(2, 2, 21, dtype=torch.bool)
    label = torch.zeros(2, 64, 64, dtype=torch.uint8)
    label[:, 10:20, 10:20] = 3
    label[:, 30:40, 30:40] = 19
    return Batch(
        torch.rand(2, 3, 256, 256, generator=random),
        keypoints,
        known,
        known,
        torch.full((2, 2), 100.0**2),
        label,
        torch.tensor([[0.1, 0.1, 0.9, 0.9]] * 2),
    )


def perfect(batch: Batch) -> tuple[list[Outputs], torch.Tensor]:
    truth = Truth.of(batch)
    heat = (truth.heat.clamp(min=1e-12)).log()
    mask = (truth.mask * 2 - 1) * 20
    sure = torch.full((2, 2, 21), 20.0)
    parts = torch.nn.functional.one_hot(truth.part, N_PARTS).permute(0, 3, 1, 2).float() * 30
    return [Outputs(heat, mask, sure, sure)], parts


def swapped(stage: Outputs) -> Outputs:
    return Outputs(*(value.flip(1) for value in stage))


def test_either_way_of_taking_the_athletes_costs_the_same() -> None:
    batch = made_batch()
    stages, parts = perfect(batch)
    straight, _ = pair_loss(stages, parts, batch)
    crossed, _ = pair_loss([swapped(stages[0])], parts, batch)
    assert torch.allclose(straight, crossed)


def test_a_perfect_answer_costs_less_than_a_shifted_one() -> None:
    batch = made_batch()
    stages, parts = perfect(batch)
    best, _ = pair_loss(stages, parts, batch)
    shifted = stages[0]._replace(heat=stages[0].heat.roll(12, -1))
    worse, _ = pair_loss([shifted], parts, batch)
    assert best < worse


def test_heat_is_read_back_to_a_fraction_of_a_cell() -> None:
    batch = made_batch()
    stages, _ = perfect(batch)
    place, mass = decode_heat(stages[0].heat)
    assert float((place - batch.keypoints_px).norm(dim=-1).max()) < 1.0
    assert float(mass.min()) > 0.7
    assert float(similarity(place, batch).min()) > 0.98


def test_the_runtime_decodes_as_training_does() -> None:
    heat = torch.randn(1, 2, 21, 4096, generator=torch.Generator().manual_seed(3)) * 4
    trained, _ = decode_heat(heat)
    assert np.allclose(decoded(heat[0].numpy()), trained[0].numpy(), atol=1e-2)


def test_checkpoints_come_back_in_half_precision(tmp_path: Path) -> None:
    module = torch.nn.Linear(40, 30)
    save_checkpoint(tmp_path, part=module)
    other = torch.nn.Linear(40, 30)
    load_checkpoint(tmp_path, part=other)
    assert torch.equal(other.weight, module.weight.half().float())
    with pytest.raises(MissingPartError):
        load_checkpoint(tmp_path / "none", part=other)


def test_boxes() -> None:
    edges = torch.full((1, 4, EDGE_BINS), -50.0)
    for edge, column in enumerate((8, 16, 40, 48)):
        edges[0, edge, column] = 50
    box = boxes_of(edges)
    expected = (torch.tensor([[8.0, 16, 40, 48]]) + 0.5) / EDGE_BINS
    assert torch.allclose(box, expected)
    assert float(overlap(box, expected)) == pytest.approx(1)
