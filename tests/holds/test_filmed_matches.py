"""The constant of the half-guard mix, fitted on stretches of matches."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from posescore.holds.filmed_matches import Stretch, stretches_of, with_constant
from posescore.holds.trapped_leg import Mix
from posescore.resources import shipped

MIX = Mix(0.0, 0.5, 1.0)


def stretch(odds: float, half_guard: bool, n: int = 10) -> Stretch:
    return Stretch(np.zeros(n), np.full(n, odds), half_guard)


def test_constant_lies_between_what_both_positions_say() -> None:
    mix = with_constant(MIX, [stretch(-2.0, True), stretch(-4.0, False)])
    assert 2.9 < mix.constant < 3.1
    assert (mix.named, mix.judged) == (MIX.named, MIX.judged)


def test_a_long_stretch_weighs_no_more_than_a_short_one() -> None:
    short = with_constant(MIX, [stretch(-2.0, True, 3), stretch(-4.0, False, 300)])
    even = with_constant(MIX, [stretch(-2.0, True), stretch(-4.0, False)])
    assert short == even


def test_true_mount_and_half_guard_are_found_in_a_match(tmp_path: Path) -> None:
    source = shipped("sample_video", "keypoints.json").parent
    (tmp_path / "truth.json").write_text((source / "truth.json").read_text("utf-8"), "utf-8")
    (tmp_path / "pass.json").write_text((source / "keypoints.json").read_text("utf-8"), "utf-8")
    truth = json.loads((tmp_path / "truth.json").read_text("utf-8"))
    expected = [h["position"] for h in truth["holds"] if h["position"] in ("half_guard", "mount")]
    found = stretches_of([tmp_path])
    assert [s.half_guard for s in found] == [name == "half_guard" for name in expected]
    assert all(len(s.named) == len(s.judged) > 20 for s in found)
