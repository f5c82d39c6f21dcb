"""Our own networks behind the estimator's protocol."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.errors import KeypointFileError, MissingPartError
from posescore.evaluation.photographs import measured, photographs_folder, read_photographs
from posescore.footage.opencv import cv2
from posescore.pose.estimators.estimator import Box
from posescore.pose.estimators.onnx_network import OnnxNetwork, square_of
from posescore.pose.estimators.pair_network import PairNetworkEstimator, around


@pytest.fixture(scope="module")
def estimator() -> PairNetworkEstimator:
    return PairNetworkEstimator(threads=1)


@settings(max_examples=30, deadline=None)
@given(
    x=st.floats(120, 520), y=st.floats(120, 360), side=st.floats(90, 900),
    dx=st.floats(-0.4, 0.4), dy=st.floats(-0.4, 0.4),
)  # fmt: skip
def test_a_spot_is_found_where_the_square_says(
    x: float, y: float, side: float, dx: float, dy: float
) -> None:
    picture = np.zeros((480, 640, 3), np.uint8)
    cv2.circle(picture, (round(x), round(y)), 9, (255, 255, 255), -1)
    square, to_picture = square_of(picture, (x + dx * side, y + dy * side), side)
    assert square.shape == (256, 256, 3)
    bright = np.argwhere((square > 200).all(axis=-1))
    assert len(bright)
    row, column = bright.mean(axis=0) + 0.5
    found = to_picture[:, :2] @ np.array([column, row]) + to_picture[:, 2]
    assert np.hypot(*(found - [round(x) + 0.5, round(y) + 0.5])) < 0.03 * side + 1


def test_beyond_the_picture_is_grey() -> None:
    square, _ = square_of(np.zeros((10, 10, 3), np.uint8), (-300.0, -300.0), 40.0)
    assert (square == 128).all()


def test_the_estimate_follows_the_box(estimator: PairNetworkEstimator) -> None:
    picture = np.random.default_rng(0).integers(0, 255, (360, 640, 3), np.uint8)
    look = estimator.look(picture, (Box(200, 180, 120, 120),))
    assert look.keypoints_px.shape == (2, 21, 2)
    assert np.isfinite(look.keypoints_px).all()
    assert ((look.confidence >= 0) & (look.confidence <= 1)).all()
    assert np.abs(look.keypoints_px - [200, 180]).max() < 160


def test_nobody_is_seen_in_noise(estimator: PairNetworkEstimator) -> None:
    picture = np.random.default_rng(1).integers(0, 255, (540, 960, 3), np.uint8)
    assert np.isnan(estimator.estimate(picture).keypoints_px).all()
    grey = np.full((90, 160, 3), 90, np.uint8)
    assert np.isnan(estimator.estimate(grey).keypoints_px).all()


def test_provenance_names_both_networks(estimator: PairNetworkEstimator) -> None:
    assert set(estimator.step.model_sha256) == {"pair_network.onnx", "pair_finder.onnx"}


def test_missing_or_broken_weights_are_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(MissingPartError, match="cannot be read"):
        OnnxNetwork(tmp_path / "none.onnx")
    (tmp_path / "broken.onnx").write_bytes(b"no network")
    with pytest.raises(MissingPartError, match="no network that runs here"):
        OnnxNetwork(tmp_path / "broken.onnx")


def test_boxes_together_and_overlap() -> None:
    both = around((Box(10, 10, 10, 10), Box(30, 20, 10, 20)))
    assert (both.centre_x_px, both.width_px) == (20, 30)


def test_photographs_are_measured_by_the_better_match(tmp_path: Path) -> None:
    names = ["head", "left_shoulder", "right_shoulder", "left_hip", "right_hip", "left_knee"]
    marks = [[10.0 * k + 5, 20.0 + 3 * k, 2] for k in range(6)]
    other = [[10.0 * k + 5, 60.0 + 3 * k, 1] for k in range(6)]
    pictures = {"1.png": {"phase": "ground", "a": {"kp": marks}, "b": {"kp": other}}}
    (tmp_path / "points.json").write_text(json.dumps({"points": names, "pictures": pictures}))
    cv2.imwrite(str(tmp_path / "1.png"), np.zeros((100, 100, 3), np.uint8))
    found, photographs = read_photographs(photographs_folder(tmp_path))
    assert found == names
    assert len(photographs) == 1

    class Known:
        keypoints_px = np.full((2, 21, 2), np.nan, np.float32)

    for slot, rows in ((1, marks), (0, other)):
        for name, (x, y, _) in zip(names, rows, strict=True):
            places = range(5) if name == "head" else [_place(name)]
            for place in places:
                Known.keypoints_px[slot, place] = (x, y)
    scores = measured(names, photographs, lambda _: Known())  # type: ignore[arg-type,return-value]
    assert scores.row() == (1, 1.0, 1.0, pytest.approx(1.0, abs=1e-6))
    (tmp_path / "points.json").write_text("{}")
    with pytest.raises(KeypointFileError):
        read_photographs(tmp_path)


def _place(name: str) -> int:
    from posescore.terms import KEYPOINT_INDEX

    return KEYPOINT_INDEX[name]


def test_photographs_that_are_not_there_are_named(tmp_path: Path) -> None:
    with pytest.raises(MissingPartError, match="POSESCORE_REAL_PAIRS"):
        photographs_folder(tmp_path)
