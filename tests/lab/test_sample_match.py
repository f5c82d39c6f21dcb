"""The committed sample match agrees with itself. Needs nothing of the extra ``lab``."""

from __future__ import annotations

import json
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from posescore.resources import shipped
from posescore.terms import BONES, KEYPOINT_INDEX, KEYPOINTS, Position

VALUES = {"takedown": 2, "sweep": 2, "knee_on_belly": 2, "guard_pass": 3, "mount": 4,
          "back_mount": 4, "back_control": 4}  # fmt: skip
"""Points by kind: clause 2.5.2."""


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    data: dict[str, Any] = json.loads(shipped("sample_video", "truth.json").read_text("utf-8"))
    return data


@pytest.fixture(scope="module")
def coco() -> dict[str, Any]:
    path = shipped("sample_video", "keypoints.json")
    assert path.stat().st_size < 5_000_000
    data: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return data


@pytest.fixture(scope="module")
def marked(coco: dict[str, Any]) -> np.ndarray:
    """``(n_frames, 2, 21, 3)``: x, y and flag."""
    rows = [annotation["keypoints"] for annotation in coco["annotations"]]
    return np.array(rows, float).reshape(-1, 2, len(KEYPOINTS), 3)


def frames(marked: np.ndarray, stretch: dict[str, Any]) -> np.ndarray:
    return marked[round(stretch["start_s"] * 30) : round(stretch["end_s"] * 30)]


def middle(points: np.ndarray, slot: int, name: str) -> np.ndarray:
    """Mean of a left and a right keypoint, ``(n_frames, 2)``."""
    sides = [KEYPOINT_INDEX[f"{side}_{name}"] for side in ("left", "right")]
    return np.asarray(points[:, slot, sides, :2].mean(1))


def test_states_tile_the_footage(truth: dict[str, Any]) -> None:
    states = truth["states"]
    assert states[0]["start_s"] == 0
    assert states[-1]["end_s"] == truth["duration_s"]
    assert all(one["end_s"] == other["start_s"] for one, other in pairwise(states))
    assert all(Position(state["position"]) for state in states)
    assert truth["n_frames"] == round(truth["duration_s"] * truth["frames_per_s"])


def test_every_hold_lies_in_a_state_of_its_kind(truth: dict[str, Any]) -> None:
    for hold in truth["holds"]:
        around = [
            state
            for state in truth["states"]
            if state["start_s"] <= hold["start_s"] and hold["end_s"] <= state["end_s"]
        ]
        assert [(s["position"], s.get("upper")) for s in around] == [
            (hold["position"], hold.get("upper"))
        ]
    assert all(one["end_s"] <= other["start_s"] for one, other in pairwise(truth["holds"]))


def test_awards_stand_three_seconds_into_a_hold(truth: dict[str, Any]) -> None:
    """Clause 3.1: points once the position is held three seconds."""
    assert len(truth["awards"]) == 6
    for award in truth["awards"]:
        assert award["points"] == VALUES[award["kind"]]
        holds = [h for h in truth["holds"] if abs(h["start_s"] + 3 - award["time_s"]) < 1e-6]
        assert len(holds) == 1
        assert holds[0]["upper"] == award["athlete"]
        assert holds[0]["end_s"] > award["time_s"] + 0.5


def test_what_is_no_award_is_held_and_fails_by_its_criterion_alone(truth: dict[str, Any]) -> None:
    for nothing in truth["nothings"]:
        holds = [h for h in truth["holds"] if h["start_s"] == nothing["start_s"]]
        assert len(holds) == 1
        assert holds[0]["end_s"] == nothing["end_s"]
        if nothing["clause"] != "3.1":
            assert nothing["end_s"] - nothing["start_s"] >= 3.5
        else:
            assert nothing["end_s"] - nothing["start_s"] < 3


def test_events_lie_in_the_footage(truth: dict[str, Any]) -> None:
    assert {event["event"] for event in truth["events"]} >= {"start", "takedown_attempt", "end"}
    assert all(0 <= event["time_s"] <= truth["duration_s"] for event in truth["events"])


def test_keypoints_are_coco(coco: dict[str, Any], truth: dict[str, Any]) -> None:
    images, annotations = coco["images"], coco["annotations"]
    assert len(images) == truth["n_frames"]
    assert [image["id"] for image in images] == list(range(1, len(images) + 1))
    assert all(
        (image["width"], image["height"], image["frame_index"]) == (1280, 720, index)
        and abs(image["time_s"] - index / 30) < 1e-5
        for index, image in enumerate(images)
    )
    assert [a["id"] for a in annotations] == list(range(1, 2 * len(images) + 1))
    assert [a["image_id"] for a in annotations] == [1 + i // 2 for i in range(len(annotations))]
    assert [a["track_id"] for a in annotations] == [1, 2] * len(images)
    assert coco["categories"][0]["keypoints"] == list(KEYPOINTS)


def test_flags_say_where_keypoints_are(marked: np.ndarray) -> None:
    x, y, flag = marked[..., 0], marked[..., 1], marked[..., 2]
    assert np.isin(flag, (0, 1, 2)).all()
    inside = (x >= 0) & (x <= 1280) & (y >= 0) & (y <= 720)
    assert inside[flag > 0].all()
    assert (marked[flag == 0] == 0).all()
    assert (flag > 0).mean() > 0.97
    assert 0.5 < (flag == 2).mean() < 0.95


def test_bboxes_hold_their_keypoints(coco: dict[str, Any]) -> None:
    for annotation in coco["annotations"][::97]:
        points = np.array(annotation["keypoints"]).reshape(-1, 3)
        seen = points[points[:, 2] > 0, :2]
        x, y, width, height = annotation["bbox"]
        assert annotation["num_keypoints"] == len(seen)
        assert (seen >= [x - 0.11, y - 0.11]).all()
        assert (seen <= [x + width + 0.11, y + height + 0.11]).all()


def test_nothing_jumps(marked: np.ndarray) -> None:
    known = (marked[1:, ..., 2] > 0) & (marked[:-1, ..., 2] > 0)
    step_px = np.linalg.norm(np.diff(marked[..., :2], axis=0), axis=-1)[known]
    assert step_px.max() < 70
    assert np.percentile(step_px, 99) < 20


def test_no_bone_is_longer_than_a_person_allows(marked: np.ndarray) -> None:
    for one, other in BONES:
        known = (marked[:, :, one, 2] > 0) & (marked[:, :, other, 2] > 0)
        length_px = np.linalg.norm(marked[:, :, one, :2] - marked[:, :, other, :2], axis=-1)[known]
        assert length_px.max() < 330


@pytest.mark.parametrize("position", ["closed_guard", "mount", "knee_on_belly"])
def test_the_upper_athlete_is_above(
    position: str, truth: dict[str, Any], marked: np.ndarray
) -> None:
    for state in truth["states"]:
        if state["position"] == position:
            upper = "AB".index(state["upper"])
            held = frames(marked, state)
            above = middle(held, 1 - upper, "shoulder") - middle(held, upper, "shoulder")
            assert (above[:, 1] > 20).mean() > 0.95


def test_standing_athletes_stand(truth: dict[str, Any], marked: np.ndarray) -> None:
    state = truth["states"][0]
    held = frames(marked, state)
    for slot in range(2):
        assert (middle(held, slot, "ankle") - middle(held, slot, "shoulder"))[:, 1].min() > 250


def test_closed_guard_has_ankles_crossed_behind(truth: dict[str, Any], marked: np.ndarray) -> None:
    state = next(s for s in truth["states"] if s["position"] == "closed_guard")
    held = frames(marked, state)[10:-10]
    left, right = (held[:, 1, KEYPOINT_INDEX[f"{s}_ankle"], :2] for s in ("left", "right"))
    assert np.linalg.norm(left - right, axis=1).max() < 80
    hips = middle(held, 0, "hip")
    assert (left[:, 0] < hips[:, 0]).all()
    assert (middle(held, 1, "hip")[:, 0] > hips[:, 0]).all()


def test_footage_is_what_it_says(truth: dict[str, Any]) -> None:
    path = shipped("sample_video", "match.mp4")
    assert path.stat().st_size < 15_000_000
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        assert (stream.width, stream.height) == (1280, 720)
        assert stream.average_rate == Fraction(30)
        context = stream.codec_context
        assert (context.name, context.pix_fmt) == ("h264", "yuv420p")
        packets = [packet for packet in container.demux(stream) if packet.pts is not None]
    assert len(packets) == truth["n_frames"]
    keys = sorted(float(p.pts * p.time_base) for p in packets if p.is_keyframe and p.time_base)
    assert max(b - a for a, b in pairwise(keys)) <= 1.01


def test_footage_starts_without_waiting_for_its_end() -> None:
    assert first_boxes(shipped("sample_video", "match.mp4"))[:2] == ["ftyp", "moov"]


def first_boxes(path: Path) -> list[str]:
    """Names of the file's outermost boxes (ISO/IEC 14496-12, 4.2)."""
    found = []
    with path.open("rb") as file:
        while len(head := file.read(8)) == 8:
            size = int.from_bytes(head[:4], "big")
            found.append(head[4:].decode("ascii"))
            file.seek(size - 8, 1)
    return found
