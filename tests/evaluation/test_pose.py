from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posescore.errors import FootageError, KeypointFileError, StorageError
from posescore.evaluation.pose import evaluate_pose, fit_of, measure
from posescore.footage.opencv import cv2
from posescore.pose.coco import PosedPicture, read_coco, write_coco
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.pose.passes import pose_file
from posescore.terms import Step
from tests.pose.scenes import STANDING


def labelled(n: int = 10) -> list[PosedPicture]:
    points = (STANDING + np.array([[[150, 120]], [[320, 130]]])).astype(np.float32)
    sure, area = np.ones((2, 21), np.float32), np.array([6000.0, 6000.0])
    return [PosedPicture(f"{i}.png", None, None, (500, 260), points, sure, area) for i in range(n)]


def test_the_truth_fits_itself_wholly() -> None:
    table = measure(labelled(), labelled())
    for figure in table.figures:
        assert (figure.value, figure.low, figure.high) == (1.0, 1.0, 1.0)
    assert table["athletes found"].n == 20
    assert table["both found"].n == 10
    assert "both found" in str(table)


def test_slots_exchanged_are_found_but_not_right() -> None:
    found = [replace(p, keypoints_px=p.keypoints_px[::-1]) for p in labelled()]
    table = measure(labelled(), found)
    assert table["both found"].value == 1.0
    assert table["right slot"].value == 0.0


def test_one_athlete_found_twice_counts_once() -> None:
    found = [
        replace(p, keypoints_px=np.stack([p.keypoints_px[0], p.keypoints_px[0] + 1]))
        for p in labelled()
    ]
    table = measure(labelled(), found)
    assert table["athletes found"].value == 0.5
    assert table["both found"].value == 0.0


def test_what_is_not_found_is_zero_and_what_is_not_labelled_does_not_count() -> None:
    truth = labelled()
    alone = replace(truth[0], keypoints_px=truth[0].keypoints_px.copy())
    alone.keypoints_px[1] = np.nan
    table = measure([alone, truth[1]], truth[1:2])
    assert table["athletes found"].value == pytest.approx(2 / 3)
    assert table["mean OKS"].value == pytest.approx(2 / 3)
    assert table["both found"].n == 1
    assert table.to_json()["figures"]["both found"]["value"] == 1.0


def test_half_of_the_pictures_give_an_interval_around_a_half() -> None:
    truth = labelled(40)
    table = measure(truth, truth[:20])
    figure = table["both found"]
    assert figure.value == 0.5
    assert 0.2 < figure.low < 0.45 < 0.55 < figure.high < 0.8


def test_frames_of_one_video_are_drawn_in_blocks() -> None:
    frames = [
        replace(p, name="match.mp4", frame_index=i, time_s=i / 30)
        for i, p in enumerate(labelled(600))
    ]
    lost = [replace(f, keypoints_px=np.full_like(f.keypoints_px, np.nan)) for f in frames[300:]]
    blocked = measure(frames, frames[:300] + lost)["both found"]
    alone = measure(
        [replace(f, frame_index=None, name=str(i)) for i, f in enumerate(frames)],
        [replace(f, frame_index=None, name=str(i)) for i, f in enumerate(frames[:300])],
    )["both found"]
    assert blocked.value == alone.value == 0.5
    assert blocked.high - blocked.low > 3 * (alone.high - alone.low)


def test_a_fit_pairs_for_the_largest_sum() -> None:
    truth = labelled()[0]
    near = replace(truth, keypoints_px=truth.keypoints_px[::-1] + 3)
    fit = fit_of(truth, near)
    assert min(fit.oks) > 0.5
    assert fit.same_slot == (False, False)
    assert fit_of(truth, None).oks == (0.0, 0.0)


class Painted:
    """Finds the labelled pair in every picture; left and right are given the wrong way round."""

    step = Step("painted")

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        points = labelled(1)[0].keypoints_px[::-1].copy()
        return PairEstimate(points, np.full((2, 21), 0.7, np.float32))

    def close(self) -> None: ...


def test_a_folder_of_pictures_from_labels_to_a_table(tmp_path: Path) -> None:
    for picture in labelled(3):
        cv2.imwrite(str(tmp_path / str(picture.name)), np.zeros((260, 500, 3), np.uint8))
    truth = tmp_path / "labels.json"
    write_coco(labelled(3), truth)
    table = evaluate_pose(truth, estimator=Painted())
    assert table["both found"].value == 1.0
    assert table["right slot"].value == 1.0  # alone in a picture, A is the athlete on the left

    out = tmp_path / "found.json"
    found = pose_file(tmp_path, out, estimator=Painted())
    assert (found.pictures, found.athletes) == (3, 6)
    assert [p.name for p in read_coco(out)] == ["0.png", "1.png", "2.png"]
    assert evaluate_pose(truth, predicted=out)["mean OKS"].value > 0.999
    one = pose_file(tmp_path / "1.png", out, estimator=Painted())
    assert (one.pictures, one.athletes) == (1, 2)


def test_predictions_of_other_pictures_are_refused(tmp_path: Path) -> None:
    truth, other = tmp_path / "labels.json", tmp_path / "found.json"
    write_coco(labelled(2), truth)
    write_coco([replace(p, name=f"other-{p.name}") for p in labelled(2)], other)
    with pytest.raises(KeypointFileError, match="have no picture in common"):
        evaluate_pose(truth, predicted=other)
    film = [replace(p, name="one.mp4", frame_index=i) for i, p in enumerate(labelled(2))]
    write_coco(film, truth)
    write_coco([replace(p, name="two.mp4") for p in film], other)
    with pytest.raises(KeypointFileError, match=r"keypoints of two\.mp4, .* labels one\.mp4"):
        evaluate_pose(truth, predicted=other)
    write_coco([replace(p, name=None) for p in film], other)
    assert evaluate_pose(truth, predicted=other)["mean OKS"].value > 0.999
    still = [replace(p, name=f"{i}.jpg") for i, p in enumerate(film)]  # one picture a frame
    write_coco(still, other)
    assert evaluate_pose(truth, predicted=other)["mean OKS"].value > 0.999
    write_coco([replace(p, frame_index=p.frame_index + 90) for p in film], other)
    with pytest.raises(KeypointFileError, match="have no picture in common"):
        evaluate_pose(truth, predicted=other)


def test_what_cannot_be_measured_is_one_sentence(tmp_path: Path) -> None:
    truth = tmp_path / "labels.json"
    truth.write_text(json.dumps({"images": [], "annotations": []}))
    with pytest.raises(KeypointFileError, match="holds no labelled athlete"):
        evaluate_pose(truth, estimator=Painted())
    write_coco(labelled(1), truth)
    with pytest.raises(FootageError, match=r"0\.png does not exist"):
        evaluate_pose(truth, estimator=Painted())
    write_coco([replace(labelled(1)[0], name=None)], truth)
    with pytest.raises(KeypointFileError, match="no 'file_name'"):
        evaluate_pose(truth, estimator=Painted())
    with pytest.raises(FootageError, match="does not exist"):
        pose_file(tmp_path / "none.mp4", tmp_path / "out.json", estimator=Painted())
    assert not (tmp_path / "out.json").exists()
    with pytest.raises(StorageError, match="its folder does not exist"):
        pose_file(tmp_path, tmp_path / "no" / "out.json", estimator=Painted())
