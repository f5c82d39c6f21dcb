"""Keypoints with labels, as another program reads them."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np

from posescore.export.export import export_match, export_text
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import SwapAthletes
from posescore.pose.coco import read_coco
from posescore.pose.track_file import read_track

Kept = tuple[Library, Match]


def test_every_frame_carries_its_label_and_both_athletes(filmed: Kept, tmp_path: Path) -> None:
    library, match = filmed
    data = json.loads(export_text(library, match.id, "coco"))
    frames = list(csv.DictReader(io.StringIO(export_text(library, match.id, "frames-csv"))))
    by_index = {int(row["frame_index"]): row for row in frames}
    assert [image["id"] for image in data["images"]] == list(range(1, len(data["images"]) + 1))
    for image in data["images"]:
        row = by_index[image["frame_index"]]
        assert (image["position"], image["upper"] or "") == (row["position"], row["upper"])
        assert image["named_by"] == row["named_by"]
    known = {image["id"] for image in data["images"]}
    assert len(data["annotations"]) > len(known)
    for annotation in data["annotations"]:
        assert annotation["image_id"] in known
        assert annotation["track_id"] in (1, 2)
        assert len(annotation["keypoints"]) == 17 * 3


def test_athletes_are_whom_people_left_them(filmed: Kept, tmp_path: Path) -> None:
    library, match = filmed
    before = read_coco(export_match(library, match.id, "coco", tmp_path / "before.json"))
    start_s, end_s = 10.0, 20.0
    library.edit(match.id, SwapAthletes(start_s, end_s), "Ann")
    after = read_coco(export_match(library, match.id, "coco", tmp_path / "after.json"))
    swapped = 0
    for one, other in zip(before, after, strict=True):
        assert one.time_s is not None
        order = [1, 0] if start_s <= one.time_s < end_s else [0, 1]
        np.testing.assert_array_equal(one.keypoints_px[order], other.keypoints_px)
        swapped += order == [1, 0]
    assert 0 < swapped < len(before)
    analysis = library.analysis(match.id)
    assert analysis.track_path is not None
    track = read_track(analysis.track_path)
    seen = np.nan_to_num(np.stack([each.keypoints_px for each in before])[:, :, :17])
    wanted = np.nan_to_num(track.keypoints_px[:, :, :17])
    np.testing.assert_allclose(seen, wanted, atol=0.006)
