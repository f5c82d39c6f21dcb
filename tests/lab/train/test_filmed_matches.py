"""The half-guard mix, fitted on stretches of matches."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from posescore.holds.criteria.trapped_leg import Mix
from posescore.lab.train.criteria.filmed_matches import Stretch, fitted_to, stretches_of
from posescore.resources import shipped

MIX = Mix(0.0, 0.5, 1.0)


def stretch(odds: float, half_guard: bool, n: int = 10) -> Stretch:
    return Stretch(np.zeros(n), np.full(n, odds), half_guard)


def test_the_mix_parts_what_both_positions_say() -> None:
    matches = [stretch(-2.0, True), stretch(-4.0, False)] * 4
    mix = fitted_to(MIX, matches)
    assert mix.odds(np.zeros(1), np.array([-2.0])) > 0.5
    assert mix.odds(np.zeros(1), np.array([-4.0])) < -0.5
    assert mix.named == MIX.named, "what never speaks keeps its share"


def test_a_long_stretch_weighs_no_more_than_a_short_one() -> None:
    short = fitted_to(MIX, [stretch(-2.0, True, 3), stretch(-4.0, False, 300)])
    even = fitted_to(MIX, [stretch(-2.0, True), stretch(-4.0, False)])
    assert np.allclose([short.constant, short.judged], [even.constant, even.judged])


def test_a_source_that_misleads_is_left_out_not_turned_around() -> None:
    wrong = [Stretch(np.full(5, -3.0), np.full(5, 1.0), True),
             Stretch(np.full(5, 3.0), np.full(5, -1.0), False)] * 9  # fmt: skip
    mix = fitted_to(MIX, wrong)
    assert mix.named == 0.0
    assert mix.judged > MIX.judged


def test_without_matches_the_mix_stays() -> None:
    assert fitted_to(MIX, []) == MIX


def test_true_mount_and_half_guard_are_found_in_a_match(tmp_path: Path) -> None:
    source = shipped("sample_video", "keypoints.json").parent
    (tmp_path / "truth.json").write_text((source / "truth.json").read_text("utf-8"), "utf-8")
    (tmp_path / "pass.json").write_text((source / "keypoints.json").read_text("utf-8"), "utf-8")
    truth = json.loads((tmp_path / "truth.json").read_text("utf-8"))
    expected = [h["position"] for h in truth["holds"] if h["position"] in ("half_guard", "mount")]
    found = stretches_of([tmp_path])
    assert [s.half_guard for s in found] == [name == "half_guard" for name in expected]
    assert all(len(s.named) == len(s.judged) > 20 for s in found)
