"""The network's loss, its decoding, and its checkpoints."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from posescore.errors import MissingPartError  # noqa: E402
from posescore.evaluation.poses3d.pose_set import PoseSet  # noqa: E402
from posescore.lab.corpus.framing import Frame  # noqa: E402
from posescore.lab.corpus.pictures import DRAWN_SIDE_PX, Batch  # noqa: E402
from posescore.lab.train.keypoints.checkpoint import (  # noqa: E402
    fill,
    load_checkpoint,
    save_checkpoint,
)
from posescore.lab.train.keypoints.encoder import LIGHTNING_OUTPUTS, empty_encoder  # noqa: E402
from posescore.lab.train.keypoints.finder import EDGE_BINS, boxes_of  # noqa: E402
from posescore.lab.train.keypoints.learner import Place  # noqa: E402
from posescore.lab.train.keypoints.loss import Truth, pair_loss  # noqa: E402
from posescore.lab.train.keypoints.network import (  # noqa: E402
    N_PARTS,
    Mixer,
    Outputs,
    best_places,
    decode_heat,
)
from posescore.lab.train.keypoints.pass_errors import (  # noqa: E402
    matched,
    rows_to_draw,
    square_frames,
)
from posescore.lab.train.keypoints.scores import overlap, similarity  # noqa: E402
from posescore.lab.train.keypoints.supply import Supply  # noqa: E402
from posescore.pose.estimators.heat_maps import (  # noqa: E402
    CELLS,
    HeatMaps,
    body_size_px,
    probabilities,
)
from posescore.pose.estimators.heat_maps import (  # noqa: E402
    best_places as runtime_best_places,
)
from posescore.pose.estimators.onnx_network import SIDE_PX  # noqa: E402
from posescore.pose.estimators.pair_network import ROOM  # noqa: E402


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


def decoded(heat: np.ndarray) -> np.ndarray:
    """As the runtime reads: places ``(2, 21, 2)`` in pixels of the square, of ``(2, 21, 4096)``."""
    cells_px = ((np.arange(CELLS) + 0.5) * SIDE_PX / CELLS).astype(np.float32)
    maps = HeatMaps(probabilities(heat), cells_px, cells_px)
    weight = np.ones((1, 2, 21), np.float32)
    return runtime_best_places([maps], weight, body_size_px(maps.peaks_px()))


def test_the_runtime_and_training_read_one_clear_hill_alike() -> None:
    batch = made_batch()
    heat = perfect(batch)[0][0].heat
    trained, _ = decode_heat(heat)
    assert np.abs(decoded(heat[0].numpy()) - trained[0].numpy()).max() < 0.5


def test_pass_errors_are_read_as_the_runtime_reads() -> None:
    heat = torch.randn(1, 2, 21, 4096, generator=torch.Generator().manual_seed(3)) * 4
    assert np.allclose(decoded(heat[0].numpy()), best_places(heat)[0].numpy(), atol=0.05)


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


def test_layers_gained_since_a_checkpoint_change_nothing() -> None:
    old = torch.nn.ModuleDict({"first": Mixer(8)})
    new = torch.nn.ModuleDict({"first": Mixer(8), "second": Mixer(8)})
    fill(new, old.state_dict())
    x = torch.randn(3, 8, generator=torch.Generator().manual_seed(0))
    assert torch.equal(new["first"](x), old["first"](x))
    assert not new["second"](x).any(), "a residual of nothing"
    with pytest.raises(MissingPartError, match="another network"):
        fill(old, new.state_dict())


def test_a_supply_hands_out_every_picture_once() -> None:
    drawn = made_batch()
    calls = []

    def draw() -> Batch:
        calls.append(1)
        return drawn

    supply = Supply(draw, 1)
    pictures = [supply.next().picture for _ in range(2)]
    assert len(calls) == 1
    together = torch.cat(pictures).flip(0)
    assert torch.equal(together, drawn.picture)
    supply.next()
    assert len(calls) == 2


def test_frozen_layers_do_not_learn() -> None:
    encoder = empty_encoder(LIGHTNING_OUTPUTS, 32)
    encoder.freeze(2)
    fixed = {n for n, p in encoder.named_parameters() if not p.requires_grad}
    assert {n.split(".")[0] for n in fixed} == {
        "stem",
        "first_depthwise",
        "first_project",
        "blocks",
    }
    assert {n.split(".")[1] for n in fixed if n.startswith("blocks")} == {"0", "1"}


def test_bad_gradients_count_as_none_and_long_ones_are_shortened() -> None:
    place = Place(0, 1, torch.device("cpu"))
    gradient = torch.tensor([3.0, 4.0, 0.0, 0.0])
    place.averaged(gradient)
    assert torch.allclose(gradient, torch.tensor([1.2, 1.6, 0.0, 0.0]), atol=1e-4)
    gradient = torch.tensor([1.0, float("nan"), 0.0, 0.0])
    place.averaged(gradient)
    assert not gradient.any()


def test_the_square_of_the_errors_is_the_runtime_s() -> None:
    whole = Frame(torch.zeros(1, 2), torch.full((1, 2), 100.0), torch.zeros(1, 4))
    square = square_frames(torch.tensor([[0.25, 0.25, 0.75, 0.5]]), whole)
    side_tangent = DRAWN_SIDE_PX / float(square.scale[0, 0])
    assert side_tangent == pytest.approx(ROOM * 0.5 * DRAWN_SIDE_PX / 100)
    middle = (torch.tensor([[0.5, 0.375]]) - 0.5) * DRAWN_SIDE_PX / 100
    assert torch.allclose(square.centre, middle)


def test_what_was_said_is_matched_to_the_nearer_athlete() -> None:
    batch = made_batch()
    sure = torch.arange(2.0)[None, :, None].expand(2, 2, 21)
    guess, confidence = matched(batch.keypoints_px.flip(1), sure, batch)
    assert torch.equal(guess, batch.keypoints_px)
    assert torch.equal(confidence, sure.flip(1))


def test_rare_states_are_drawn_more_often_than_they_occur() -> None:
    state = np.array([0] * 900 + [1] * 100 + [-1] * 50)
    poses = PoseSet(np.zeros((1050, 2, 23, 3), np.float32), np.arange(1050), state)
    drawn = state[rows_to_draw(poses, 4000, 0)]
    assert (drawn >= 0).all()
    assert (drawn == 1).mean() == pytest.approx(0.25, abs=0.03)
