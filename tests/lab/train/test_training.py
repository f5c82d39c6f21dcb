from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("onnx", reason="training needs the extra `lab`")

from posescore.evaluation.poses3d.pose_set import nearest_distance_m, swapped_states
from posescore.lab.train.positions.calibration import fit_calibration
from posescore.lab.train.positions.material import Amounts, Material, ends_of
from posescore.lab.train.positions.training import Settings, train
from posescore.lab.train.positions.weights_file import about_weights, read_weights, write_weights
from posescore.pose.estimators.session import opened_network
from posescore.position.classifier import PositionClassifier
from posescore.position.network import PairNetworks, softmax
from posescore.position.normalise import given as given_by_numpy
from posescore.terms import STATES
from tests.position.test_normalise import pictures

AMOUNTS = Amounts(blends=300, bridges=300, authored=30)
LITTLE = {"pictures": 256, "batch": 64, "at_once": 2, "judge_steps": 2}
TINY = Settings(
    n_folds=3, amounts=AMOUNTS, rounds=(LITTLE, {**LITTLE, "sizes": {"layers": 2, "wide": 32}})
)


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory, few_entries: Path) -> Path:
    pytest.importorskip("torch", reason="training needs the extra `lab`")
    out = tmp_path_factory.mktemp("model") / "tiny.onnx"
    return train(few_entries, out, seed=1, settings=TINY, with_card=False, say=_silent)


def _silent(_: str) -> None:
    pass


def test_every_round_of_networks_comes_out_of_training(tiny: Path) -> None:
    classifier = PositionClassifier.load(tiny)
    logits = classifier.networks.logits(given_by_numpy(*pictures(0, 20)), 3)
    assert logits.shape == (20, 2, len(STATES))
    given = pictures(0, 20)
    for rows in (classifier.of_keypoints(*given), classifier.of_keypoints(*given, 1)):
        assert np.allclose(rows.sum(1), 1)


def test_those_that_learned_from_a_fold_are_left_out(tiny: Path, tmp_path: Path) -> None:
    from posescore.lab.train.positions.export import networks_of, write_networks

    networks, rows = networks_of(tiny), given_by_numpy(*pictures(0, 20))
    assert [len(weights["look"]) for weights in networks] == [3] * 4 + [2] * 4
    path = tmp_path / "one.onnx"
    write_networks(path, [networks[1], networks[5]], 0, {})
    alone = PairNetworks(opened_network(path, 1).session).logits(rows, 0)
    among = PositionClassifier.load(tiny).networks.logits(rows, 1)
    assert np.allclose(alone.reshape(among.shape), among, atol=1e-5)


def test_the_same_seed_gives_the_same_networks(
    tiny: Path, few_entries: Path, tmp_path: Path
) -> None:
    again = train(
        few_entries, tmp_path / "again.onnx", seed=1, settings=TINY, with_card=False, say=_silent
    )
    rows = pictures(0, 20)
    first, second = (PositionClassifier.load(path).of_keypoints(*rows) for path in (tiny, again))
    assert np.allclose(first, second, atol=1e-3)


def test_networks_that_learned_elsewhere_are_taken_over(
    tiny: Path, few_entries: Path, tmp_path: Path
) -> None:
    from posescore.lab.train.positions.export import networks_of

    networks = networks_of(tiny)
    files = [tmp_path / "first.npz", tmp_path / "second.npz"]
    for path, some in zip(files, (networks[:4], networks[4:]), strict=True):
        write_weights(path, some, "long")
        assert about_weights(path) == "long"
    assert all(
        np.array_equal(a[k], b[k])
        for a, b in zip(networks[:4], read_weights(files[0]), strict=True)
        for k in a
    )
    path = train(
        few_entries, tmp_path / "m.onnx", seed=1, settings=TINY, learned=files,
        with_card=False, say=_silent,
    )  # fmt: skip
    rows = pictures(0, 20)
    first, second = (PositionClassifier.load(p).of_keypoints(*rows) for p in (tiny, path))
    assert np.allclose(first, second, atol=1e-6)


def test_material_comes_back_from_its_file(material: Material, tmp_path: Path) -> None:
    material.save(tmp_path / "material.npz")
    again = Material.load(tmp_path / "material.npz")
    assert np.abs(again.frames_m - material.frames_m).max() < 3e-3
    assert np.array_equal(again.barred, material.barred)


def test_ways_without_a_name_keep_away_from_what_is_measured(material: Material) -> None:
    unnamed = (material.state < 0) & (material.source != 4)
    for end in ends_of(material):
        for index in range(2):
            learned = end[unnamed & ~material.barred[:, index]][:400]
            held = material.frames_m[material.fold == index]
            assert (nearest_distance_m(learned, held) >= 0.05).all()


def test_named_frames_are_barred_from_their_own_fold(material: Material) -> None:
    for ends in (material.first, material.second):
        fold = material.fold[ends]
        rows = np.flatnonzero(fold >= 0)
        assert material.barred[rows, fold[rows]].all()


def test_blends_bear_the_name_of_both_ends(material: Material) -> None:
    rows = np.flatnonzero(material.source == 1)
    first, second = (material.name[e[rows]] for e in (material.first, material.second))
    turned = np.where(material.swapped[rows], swapped_states()[second], second)
    assert np.array_equal(first, turned)
    assert np.array_equal(first, material.state[rows])


def test_ends_of_a_way_lie_close(material: Material) -> None:
    first, second = ends_of(material)
    apart = np.sqrt(((first - second) ** 2).sum(-1).mean((1, 2)))
    assert (apart[material.source == 1] < 0.36).all()
    assert (apart[material.source == 3] < 0.41).all()
    assert (apart[np.isin(material.source, (0, 4))] == 0).all()


def test_calibration_undoes_overconfidence() -> None:
    rng = np.random.default_rng(0)
    n_states = len(STATES)
    logits = 1.5 * rng.standard_normal((4000, n_states))
    right = softmax(logits)
    truth = np.array([rng.choice(n_states, p=row) for row in right])
    logs = np.log(softmax(2.0 * logits))
    slope, offset = fit_calibration(logs, truth, np.ones(4000))
    assert slope == pytest.approx(0.5, abs=0.08)
    assert np.abs(offset).max() < 0.3
    assert np.allclose(offset, offset[swapped_states()])
