from __future__ import annotations

import hashlib
import subprocess
import sys
import time
import zipfile
from contextlib import closing
from importlib import metadata
from pathlib import Path

import mediapipe
import numpy as np
import pytest
from mediapipe.tasks.metadata import metadata_schema_py_generated as metadata_schema
from mediapipe.tasks.metadata import schema_py_generated as schema

from posescore.errors import MissingPartError
from posescore.footage.reading import Footage
from posescore.lab.train import pose_landmarker as rebuild_bundle
from posescore.pose.estimators.choice import chosen_estimator
from posescore.pose.estimators.detection import Person, likely_pair, without_doubles
from posescore.pose.estimators.estimator import Box
from posescore.pose.estimators.mediapipe_estimator import LANDMARK_OF_KEYPOINT, MediaPipeEstimator
from posescore.resources import shipped
from posescore.terms import KEYPOINTS
from tests.pose.scenes import STANDING

BUNDLE = shipped("models", "pose_landmarker_full.task")


def test_the_shipped_bundle_is_the_one_that_is_rebuilt() -> None:
    digest = hashlib.sha256(BUNDLE.read_bytes()).hexdigest()
    assert digest == rebuild_bundle.BUNDLE_SHA256["full"]
    card = shipped("models", "pose_landmarker.md").read_text("utf-8")
    for value in (digest, rebuild_bundle.DETECTOR.sha256, "Apache-2.0"):
        assert value in card


def test_every_network_says_how_its_input_is_scaled() -> None:
    with zipfile.ZipFile(BUNDLE) as archive:
        assert all(entry.compress_type == zipfile.ZIP_STORED for entry in archive.infolist())
        scaling = {entry.filename: scaling_of(archive.read(entry)) for entry in archive.infolist()}
    assert scaling == {
        "pose_detector.tflite": (127.5, 127.5),
        "pose_landmarks_detector.tflite": (0.0, 255.0),
    }


def scaling_of(model: bytes) -> tuple[float, float]:
    tree = schema.ModelT.InitFromObj(schema.Model.GetRootAsModel(model, 0))
    entry = next(m for m in tree.metadata if m.name == b"TFLITE_METADATA")
    told = metadata_schema.ModelMetadataT.InitFromObj(
        metadata_schema.ModelMetadata.GetRootAsModelMetadata(
            bytes(tree.buffers[entry.buffer].data), 0
        )
    )
    options = told.subgraphMetadata[0].inputTensorMetadata[0].processUnits[0].options
    return float(options.mean[0]), float(options.std[0])


def test_archives_of_the_same_networks_are_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        rebuild_bundle.bundle(tmp_path / name, b"detector", b"landmarks")
        time.sleep(0.01)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_the_runtime_is_one_that_contacts_nobody() -> None:
    major, minor, patch = (int(part) for part in metadata.version("mediapipe").split(".")[:3])
    assert (0, 10, 32) <= (major, minor, patch) < (0, 10, 35)
    libraries = list(Path(mediapipe.__file__).parent.rglob("*.so"))
    libraries += list(Path(mediapipe.__file__).parent.rglob("*.dylib"))
    for library in libraries:
        assert b"SSL_connect" not in library.read_bytes(), f"{library} can speak TLS"


def test_every_keypoint_has_its_own_landmark() -> None:
    assert set(LANDMARK_OF_KEYPOINT) == set(KEYPOINTS)
    assert len(set(LANDMARK_OF_KEYPOINT.values())) == len(KEYPOINTS)


def test_nothing_is_written_to_the_terminal() -> None:
    code = (
        "import numpy as np; from posescore.pose.estimators.choice import chosen_estimator;"
        "chosen_estimator().estimate(np.full((90, 160, 3), 90, np.uint8))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout == ran.stderr == ""


def test_nobody_is_found_in_an_empty_picture_and_closing_twice_does_no_harm() -> None:
    estimator = chosen_estimator()
    estimate = estimator.estimate(np.full((90, 160, 3), 90, np.uint8))
    assert np.isnan(estimate.keypoints_px).all()
    estimator.close()
    estimator.close()


def test_a_missing_bundle_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(MissingPartError, match=r"none\.task"):
        MediaPipeEstimator(tmp_path / "none.task")


def a_person(x: float, y: float, scale: float = 1.0, sure: float = 0.9) -> Person:
    points = (STANDING * scale + (x, y)).astype(np.float32)
    return Person(points, np.full(21, sure, np.float32))


def test_of_three_people_the_two_near_each_other_are_the_pair() -> None:
    one, two, referee = a_person(200, 200), a_person(260, 205), a_person(520, 180)
    assert set(map(id, likely_pair([referee, one, two]) or ())) == {id(one), id(two)}
    assert likely_pair([one]) is None


def test_a_person_found_twice_counts_once() -> None:
    one, again, two = a_person(200, 200), a_person(202, 201, sure=0.5), a_person(260, 205)
    assert [id(p) for p in without_doubles([again, one, two])] == [id(one), id(two)]


def sample_frames(*seconds: float) -> list[np.ndarray]:
    try:
        video = shipped("sample_video", "match.mp4")
    except MissingPartError:
        pytest.skip("sample_video/match.mp4 is not there")
    footage = Footage(video)
    return [footage.frame_at(second).picture for second in seconds]


def test_standing_athletes_of_the_sample_match_are_found_in_any_crop() -> None:
    (picture,) = sample_frames(1.0)
    height, width = picture.shape[:2]
    whole = Box(width / 2, height / 2, width, height)
    with closing(MediaPipeEstimator()) as estimator:
        found = estimator.estimate(picture)
        again = estimator.estimate(picture, (whole,))
        lying = np.ascontiguousarray(np.rot90(picture, -1))  # turned clockwise by 90 degrees
        turned = estimator.estimate(lying, (Box(height / 2, width / 2, width, height, 90.0),))
    assert np.isfinite(found.keypoints_px).all()
    size = np.ptp(found.keypoints_px[0, :, 1])
    for other, points in ((again, again.keypoints_px), (turned, turned_back(turned, height))):
        assert np.isfinite(other.keypoints_px).all()
        order = np.argsort(points[:, :, 0].mean(axis=1))
        true_order = np.argsort(found.keypoints_px[:, :, 0].mean(axis=1))
        apart = np.linalg.norm(points[order] - found.keypoints_px[true_order], axis=-1)
        assert apart.mean() < 0.05 * size


def turned_back(estimate: object, height: int) -> np.ndarray:
    points = estimate.keypoints_px  # type: ignore[attr-defined]
    return np.stack([points[..., 1], height - 1 - points[..., 0]], axis=-1)
