"""The model in time as it learns: exchange is exact, pooling a plain sum, its file is the same."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="needs the laboratory's extra")

from posescore.holds.film.features import N_MOTION, Features, mirrored_features  # noqa: E402
from posescore.holds.film.outputs import CRITERIA, N_WAYS, WAYS  # noqa: E402
from posescore.lab.train.time.learning import (  # noqa: E402
    Settings,
    Store,
    _of_holds,
    learn,
    mirrored_motion,
    mirrored_poses,
)
from posescore.lab.train.time.material import NAMES, NOT_ASKED, UNCLEAR  # noqa: E402
from posescore.lab.train.time.network import TimeNetwork  # noqa: E402
from posescore.terms import N_KEYPOINTS, STATES  # noqa: E402
from tests.evaluation.pose_sets import needs_pose_set  # noqa: E402

SWAPPED = [STATES.index(state.swapped) for state in STATES]


def films(count: int = 2, length: int = 70) -> tuple[torch.Tensor, torch.Tensor]:
    torch.manual_seed(0)
    poses = torch.randn(count, length, 2, N_KEYPOINTS, 4)
    return poses, torch.randn(count, length, 2, N_MOTION)


def test_exchanging_athletes_exactly_exchanges_the_answers() -> None:
    poses, motion = films()
    network = TimeNetwork().eval()
    with torch.no_grad():
        plain, other = network(poses, motion), network(poses.flip(2), motion.flip(2))
    torch.testing.assert_close(other.states, plain.states[..., SWAPPED], atol=1e-4, rtol=1e-4)
    torch.testing.assert_close(other.criteria, plain.criteria.flip(2), atol=1e-4, rtol=1e-4)
    torch.testing.assert_close(other.given_up, plain.given_up.flip(2), atol=1e-4, rtol=1e-4)
    swap = [WAYS.index(None if way is None else (way[0], way[1].other)) for way in WAYS]
    torch.testing.assert_close(
        other.ways[..., :N_WAYS], plain.ways[..., :N_WAYS][..., swap], atol=1e-4, rtol=1e-4
    )


def test_the_mirror_image_is_that_of_the_program() -> None:
    poses, motion = films(1)
    rows = Features(poses[0].numpy(), motion[0].numpy())
    wanted = mirrored_features(rows)
    np.testing.assert_allclose(mirrored_poses(poses)[0].numpy(), wanted.poses)
    np.testing.assert_allclose(mirrored_motion(motion)[0].numpy(), wanted.motion, atol=1e-6)


def test_answers_of_holds_are_pooled_as_a_plain_sum() -> None:
    """Two stretches, three holds, one criterion asked; against a loop over holds."""
    torch.manual_seed(1)
    batch, length, n = 2, 40, len(CRITERIA)
    answer = torch.randn(batch, length, n, 2)
    criteria = torch.full((batch, length, n), NOT_ASKED, dtype=torch.int8)
    hold = torch.full((batch, length), -1, dtype=torch.int16)
    stretches = [(0, slice(3, 20), 7, 1), (0, slice(20, 33), 8, 0), (1, slice(5, 40), 300, 1)]
    for row, part, number, yes in stretches:
        hold[row, part] = number
        criteria[row, part, 2] = yes
        criteria[row, part.start, 2] = UNCLEAR
    prior, doubt = torch.full((n,), -0.7), torch.full((n,), 1.5)
    clear = (criteria == 0) | (criteria == 1)
    some = {"criteria": criteria, "hold": hold}
    found = _of_holds(answer, (criteria == 1).float(), clear, some, prior, doubt)
    lost = []
    for row, part, _, yes in stretches:
        shows = answer[row, part, 2, 1].sigmoid()
        odds = (shows * answer[row, part, 2, 0]).sum() - 0.7 * 1.5
        odds = odds / (shows.sum() + 1.5)
        lost.append(torch.nn.functional.softplus(-odds if yes else odds))
    assert float(found) == pytest.approx(float(torch.stack(lost).mean()), rel=1e-5)


@needs_pose_set
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning")
def test_it_learns_from_walks_and_its_file_says_what_torch_says(tmp_path) -> None:  # type: ignore[no-untyped-def]
    pytest.importorskip("onnx", reason="needs the laboratory's extra")
    from posescore.lab.train.time.export import difference, write_time_model
    from posescore.lab.train.time.material import material_of

    found = material_of("learn", (1, 3))
    store = Store(20_000, torch.device("cpu"))
    for material in found:
        assert {len(getattr(material, name)) for name in NAMES} == {len(material)}
        assert set(np.unique(material.state)) <= {-1, *range(len(STATES))}
        asked = material.criteria != NOT_ASKED
        assert not asked[material.hold < 0].any(), "criteria are asked of holds alone"
        store.add(material)
    kept: list[TimeNetwork] = []
    learned = learn(TimeNetwork(), store, Settings(0.1, 2), list, kept.append)
    path = tmp_path / "model.onnx"
    write_time_model(learned, path, {})
    some = found[0]
    rows = Features(some.poses[:90].astype(np.float32), some.motion[:90].astype(np.float32))
    assert difference(learned, path, rows) < 0.02
    assert kept
