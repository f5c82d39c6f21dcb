from __future__ import annotations

import contextlib
import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from posescore.errors import KeypointFileError, StorageError
from posescore.footage.clock import FrameClock
from posescore.pose.coco import (
    PosedPicture,
    pictures_of_track,
    read_coco,
    track_from_coco,
    write_coco,
)
from posescore.pose.oks import COCO_SIGMAS, oks
from posescore.pose.track import Finding, FindingKind, PairTrack
from posescore.terms import KEYPOINTS, N_KEYPOINTS, Interval, Provenance, Step
from tests.pose.scenes import STANDING


def some_track(n_frames: int = 12, missing: bool = True) -> PairTrack:
    random = np.random.default_rng(3)
    points = STANDING + random.normal(0, 4, (n_frames, 2, N_KEYPOINTS, 2)) + 200
    points[:, 1] += (90, 0)
    confidence = random.uniform(0.2, 1, (n_frames, 2, N_KEYPOINTS))
    if missing:
        gone = random.uniform(size=confidence.shape) < 0.2
        gone[4] = True
        gone[5, 1] = True
        points[gone], confidence[gone] = np.nan, np.nan
    clock = FrameClock.steady(n_frames, 29.97)
    finding = Finding(FindingKind.MERGED, Interval(0.1, 0.5), 0.8, "Both lie on one body.")
    provenance = Provenance("0.1.0", (Step("follow", {"every": 2}, {"a.task": "00ff"}),))
    return PairTrack(
        points.astype(np.float32), confidence.astype(np.float32), np.arange(n_frames),
        clock.pts_s, clock.end_s, (640, 360), provenance, (finding,),
    )  # fmt: skip


def test_coco_comes_back_as_it_went_out(tmp_path: Path) -> None:
    track = some_track()
    path = tmp_path / "poses.json"
    write_coco(pictures_of_track(track, "match.mp4"), path)
    back = track_from_coco(path)
    np.testing.assert_allclose(
        back.keypoints_px[:, :, :17], track.keypoints_px[:, :, :17], atol=0.006
    )
    np.testing.assert_allclose(
        back.keypoint_confidence[:, :, :17], track.keypoint_confidence[:, :, :17], atol=1e-4
    )
    np.testing.assert_allclose(back.time_s, track.time_s, atol=1e-6)
    np.testing.assert_array_equal(back.frame_index, track.frame_index)
    assert np.isnan(back.keypoints_px[:, :, 17:]).all()
    assert back.end_s == pytest.approx(track.end_s, abs=1e-4)
    assert {p.name for p in read_coco(path)} == {"match.mp4"}


def test_ids_count_from_one_and_a_missing_keypoint_is_three_zeros(tmp_path: Path) -> None:
    path = tmp_path / "poses.json"
    write_coco(some_track(), path)
    data = json.loads(path.read_text())
    assert [image["id"] for image in data["images"]] == list(range(1, 13))
    assert [a["id"] for a in data["annotations"]] == list(range(1, len(data["annotations"]) + 1))
    assert {a["track_id"] for a in data["annotations"]} == {1, 2}
    for annotation in data["annotations"]:
        marks = np.array(annotation["keypoints"]).reshape(17, 3)
        assert set(marks[:, 2]) <= {0, 2}
        assert (marks[marks[:, 2] == 0] == 0).all()
        assert annotation["num_keypoints"] == (marks[:, 2] > 0).sum()
    assert len([a for a in data["annotations"] if a["image_id"] == 5]) == 0
    assert len([a for a in data["annotations"] if a["image_id"] == 6]) == 1


def test_the_reference_reader_loads_our_file_and_scores_truth_against_itself(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coco = pytest.importorskip("pycocotools.coco")
    cocoeval = pytest.importorskip("pycocotools.cocoeval")
    path = tmp_path / "truth.json"
    write_coco(some_track(), path)
    truth = coco.COCO(str(path))
    found = truth.loadRes(json.loads(path.read_text())["annotations"])
    evaluation = cocoeval.COCOeval(truth, found, "keypoints")
    evaluation.evaluate()
    evaluation.accumulate()
    evaluation.summarize()
    assert evaluation.stats[0] == pytest.approx(1.0)
    capsys.readouterr()


def test_oks_is_the_reference_librarys(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    coco = pytest.importorskip("pycocotools.coco")
    cocoeval = pytest.importorskip("pycocotools.cocoeval")
    track = some_track(missing=False)
    moved = some_track(missing=False)
    moved.keypoints_px[...] += np.random.default_rng(1).normal(0, 9, moved.keypoints_px.shape)
    for name, one in (("truth", track), ("found", moved)):
        write_coco(one, tmp_path / f"{name}.json")
    truth = coco.COCO(str(tmp_path / "truth.json"))
    found = truth.loadRes(json.loads((tmp_path / "found.json").read_text())["annotations"])
    evaluation = cocoeval.COCOeval(truth, found, "keypoints")
    evaluation.params.useCats = 1
    evaluation._prepare()
    true, seen = read_coco(tmp_path / "truth.json"), read_coco(tmp_path / "found.json")
    for i in range(len(track)):
        theirs = evaluation.computeOks(i + 1, 1)  # rows: found, best first; columns: true
        order = np.argsort(
            [-d["score"] for d in found.loadAnns(found.getAnnIds(i + 1))], kind="mergesort"
        )
        for row, slot in enumerate(order):
            for other in (0, 1):
                ours = oks(
                    true[i].keypoints_px[other, :17].astype(float),
                    seen[i].keypoints_px[slot, :17].astype(float),
                    float(true[i].area_px2[other]) + np.spacing(1),
                )
                assert ours == pytest.approx(theirs[row, other], abs=1e-5)
    capsys.readouterr()


def test_coco_sigmas_are_the_published_ones() -> None:
    cocoeval = pytest.importorskip("pycocotools.cocoeval")
    np.testing.assert_allclose(cocoeval.Params("keypoints").kpt_oks_sigmas, COCO_SIGMAS)


BASE: dict[str, Any] = {
    "images": [{"id": 7, "file_name": "a.jpg", "width": 64, "height": 48, "time_s": 0.5}],
    "annotations": [
        {"id": 1, "image_id": 7, "category_id": 1, "keypoints": [1, 2, 2] * 17},
        {"id": 2, "image_id": 7, "category_id": 1, "keypoints": [5, 6, 1] * 16 + [0, 0, 0]},
    ],
    "categories": [{"id": 1, "name": "person", "keypoints": list(KEYPOINTS[:17])}],
}


def read(tmp_path: Path, data: object) -> PosedPicture:
    path = tmp_path / "given.json"
    path.write_text(json.dumps(data))
    return read_coco(path)[0]


def test_without_track_ids_the_first_annotation_is_a(tmp_path: Path) -> None:
    picture = read(tmp_path, BASE)
    assert picture.keypoints_px[0, 0].tolist() == [1, 2]
    assert picture.keypoints_px[1, 0].tolist() == [5, 6]
    assert np.isnan(picture.keypoints_px[1, 16]).all()
    assert picture.keypoint_confidence[:, 0].tolist() == [1.0, pytest.approx(0.8)]
    assert picture.size_px == (64, 48)


def test_track_ids_decide(tmp_path: Path) -> None:
    data = copy.deepcopy(BASE)
    data["annotations"][0]["track_id"], data["annotations"][1]["track_id"] = 2, 1
    assert read(tmp_path, data).keypoints_px[0, 0].tolist() == [5, 6]
    data["annotations"].pop(1)
    alone = read(tmp_path, data)
    assert np.isnan(alone.keypoints_px[0]).all()
    assert alone.keypoints_px[1, 0].tolist() == [1, 2]


def test_of_more_than_two_the_best_are_taken(tmp_path: Path) -> None:
    data = copy.deepcopy(BASE)
    data["annotations"].append({**data["annotations"][0], "id": 3, "keypoints": [9, 9, 2] * 17})
    for annotation, score in zip(data["annotations"], (0.9, 0.2, 0.8), strict=True):
        annotation["score"] = score
    picture = read(tmp_path, data)
    assert picture.keypoints_px[:, 0].tolist() == [[1, 2], [9, 9]]


def test_other_keypoint_lists_are_read_by_name(tmp_path: Path) -> None:
    data = copy.deepcopy(BASE)
    data["categories"][0]["keypoints"] = ["neck", "right_big_toe", "nose"]
    for annotation in data["annotations"]:
        annotation["keypoints"] = [1, 1, 2, 2, 2, 2, 3, 3, 2]
    picture = read(tmp_path, data)
    assert picture.keypoints_px[0, 0].tolist() == [3, 3]
    assert picture.keypoints_px[0, 20].tolist() == [2, 2]
    assert np.isfinite(picture.keypoints_px[0, :, 0]).sum() == 2


def test_twenty_one_keypoints_need_no_names(tmp_path: Path) -> None:
    data = copy.deepcopy(BASE)
    data.pop("categories")
    data["annotations"][0]["keypoints"] = [4, 4, 2] * 21
    assert np.isfinite(read(tmp_path, data).keypoints_px[0]).all()


SPOILT: list[tuple[tuple[Any, ...], object, str]] = [
    (("images",), None, "images must be a list"),
    (("images",), BASE["images"] * 2, "share an id"),
    (("images", 0, "time_s"), "soon", r"images\[0\].time_s must be a number, not 'soon'"),
    (("annotations", 0, "image_id"), 99, r"annotations\[0\] belongs to image_id 99"),
    (("annotations", 0, "keypoints"), [1, 2, 2], r"annotations\[0\] has 1 keypoints"),
    (("annotations", 0, "keypoints"), ["left"] * 51, r"annotations\[0\] has no list of numbers"),
    (
        ("annotations", 0, "keypoints"),
        [float("inf")] * 51,
        r"annotations\[0\] has no list of numbers",
    ),
    (("annotations", 0, "keypoints"), None, r"annotations\[0\] has no list of numbers"),
    (("annotations", 0, "keypoints", 0), 10**400, r"annotations\[0\] has no list of numbers"),
    (("annotations", 0, "keypoints", 0), 1e300, r"annotations\[0\] has no list of numbers"),
    (("annotations", 0, "keypoint_confidence"), ["high"] * 17, "as 'keypoint_confidence'"),
    (("annotations", 0, "keypoint_confidence"), [{}] * 17, "as 'keypoint_confidence'"),
    (("annotations", 0, "keypoint_confidence"), [None] * 17, "as 'keypoint_confidence'"),
    (("annotations", 0, "keypoint_confidence"), [10**400] * 17, "as 'keypoint_confidence'"),
    (("annotations", 0, "keypoint_confidence"), [0.5] * 16, "as 'keypoint_confidence'"),
    (("images", 0, "time_s"), 10**400, r"images\[0\].time_s must be from"),
    (("images", 0, "frame_index"), float("inf"), r"images\[0\].frame_index must be from"),
    (("categories", 0, "keypoints"), ["wing"] * 17, "names no keypoint of ours"),
]


@pytest.mark.parametrize(("place", "value", "words"), SPOILT)
def test_what_is_wrong_is_one_sentence(
    tmp_path: Path, place: tuple[Any, ...], value: object, words: str
) -> None:
    data: Any = copy.deepcopy(BASE)
    spot = data
    for step in place[:-1]:
        spot = spot[step]
    spot[place[-1]] = value
    with pytest.raises(KeypointFileError, match=words) as caught:
        read(tmp_path, data)
    assert "given.json" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_areas_sizes_and_scores_that_are_no_numbers_count_as_not_given(tmp_path: Path) -> None:
    data = copy.deepcopy(BASE)
    data["images"][0]["width"] = float("inf")
    for annotation, odd in zip(data["annotations"], (10**400, "large"), strict=True):
        annotation["area"] = annotation["score"] = odd
    picture = read(tmp_path, data)
    assert np.isnan(picture.area_px2).all()
    assert picture.size_px is None


def test_a_confidence_at_a_missing_keypoint_does_not_matter(tmp_path: Path) -> None:
    data = copy.deepcopy(BASE)
    data["annotations"][1]["keypoint_confidence"] = [0.25] * 16 + [None]
    picture = read(tmp_path, data)
    assert picture.keypoint_confidence[1, 0] == 0.25
    assert np.isnan(picture.keypoint_confidence[1, 16])


def test_a_category_without_names_is_read_by_the_number_of_marks(tmp_path: Path) -> None:
    data = copy.deepcopy(BASE)
    data["categories"][0]["keypoints"] = []
    assert np.isfinite(read(tmp_path, data).keypoints_px[0, :17]).all()


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "given.json"
    path.write_text(json.dumps(BASE), encoding="utf-8-sig")
    assert len(read_coco(path)) == 1


def test_a_list_or_a_track_id_given_twice_is_no_coco(tmp_path: Path) -> None:
    with pytest.raises(KeypointFileError, match="must be an object"):
        read(tmp_path, [])
    data = copy.deepcopy(BASE)
    data["annotations"][0]["track_id"] = data["annotations"][1]["track_id"] = 1
    with pytest.raises(KeypointFileError, match="image 7 have one track_id"):
        read(tmp_path, data)


def test_files_that_are_none(tmp_path: Path) -> None:
    (tmp_path / "broken.json").write_text('{"images": [')
    for name, words in (("broken.json", "not JSON"), ("none.json", "not exist"), ("", "a folder")):
        with pytest.raises(KeypointFileError, match=words):
            read_coco(tmp_path / name)


FIELDS = ["id", "image_id", "category_id", "keypoints", "track_id", "score", "area", "time_s"]
FIELDS += ["frame_index", "width", "iscrowd", "keypoint_confidence", "file_name"]
json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-3, 9)
    | st.floats(allow_nan=False)
    | st.text(max_size=3),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3)
    ),
    max_leaves=6,
)


@settings(max_examples=150, deadline=None)
@given(
    place=st.sampled_from(
        ["images", "annotations", "categories", "image", "annotation", "category"]
    ),
    field=st.sampled_from(FIELDS),
    value=json_values,
)
def test_no_value_anywhere_gives_anything_but_a_reading_or_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, place: str, field: str, value: object
) -> None:
    data = copy.deepcopy(BASE)
    if place in data:
        data[place] = value
    else:
        data[{"category": "categories"}.get(place, f"{place}s")][0][field] = value
    path = tmp_path_factory.getbasetemp() / "any.json"
    path.write_text(json.dumps(data))
    with contextlib.suppress(KeypointFileError):
        read_coco(path)


@settings(max_examples=40, deadline=None)
@given(points=arrays(np.float32, (2, N_KEYPOINTS, 2), elements=st.floats(0, 4000, width=32)))
def test_any_keypoints_survive_to_a_hundredth_of_a_pixel(
    tmp_path_factory: pytest.TempPathFactory, points: np.ndarray[Any, Any]
) -> None:
    path = tmp_path_factory.getbasetemp() / "round.json"
    sure = np.ones((2, N_KEYPOINTS), np.float32)
    write_coco([PosedPicture("a.png", None, None, (4000, 4000), points, sure, np.ones(2))], path)
    np.testing.assert_allclose(read_coco(path)[0].keypoints_px[:, :17], points[:, :17], atol=0.006)


def test_a_track_needs_times_that_rise_and_lie_in_the_footage(tmp_path: Path) -> None:
    path = tmp_path / "given.json"
    data = copy.deepcopy(BASE)
    del data["images"][0]["time_s"]
    path.write_text(json.dumps(data))
    with pytest.raises(KeypointFileError, match="has no time"):
        track_from_coco(path)
    data["images"][0]["frame_index"] = 40
    path.write_text(json.dumps(data))
    clock = FrameClock.steady(50, 25)
    track = track_from_coco(path, clock)
    assert len(track) == 50
    assert np.flatnonzero(np.isfinite(track.keypoints_px).any(axis=(1, 2, 3))).tolist() == [40]
    with pytest.raises(KeypointFileError, match="frame 40 lies outside the footage"):
        track_from_coco(path, FrameClock.steady(30, 25))
    second = {"id": 8, "frame_index": 39}
    data["images"].append(second)
    path.write_text(json.dumps(data))
    with pytest.raises(KeypointFileError, match="times do not rise"):
        track_from_coco(path, clock)


def test_times_alone_find_their_frames(tmp_path: Path) -> None:
    track = some_track()
    path = tmp_path / "poses.json"
    write_coco(track, path)
    data = json.loads(path.read_text())
    for image in data["images"]:
        del image["frame_index"]
        image["time_s"] = round(image["time_s"], 3)
    path.write_text(json.dumps(data))
    again = track_from_coco(path, FrameClock.steady(12, 29.97))
    np.testing.assert_allclose(
        again.keypoints_px[:, :, :17], track.keypoints_px[:, :, :17], atol=0.006
    )


def test_writing_to_nowhere_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="its folder does not exist"):
        write_coco(some_track(), tmp_path / "no" / "poses.json")
