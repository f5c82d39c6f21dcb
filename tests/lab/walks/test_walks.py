"""Walked matches hold together: motion, truth, awards, what is seen and what is read."""

from __future__ import annotations

import json

import numpy as np
import pytest

from posescore.evaluation.poses3d.pose_set import (
    PURGE_DISTANCE_M,
    load_pose_set,
    nearest_distance_m,
    split_entries,
)
from posescore.holds.criteria.questions import QUESTIONS
from posescore.lab.walks import WalkedMatch, errors, load_graph, ruling_of, seen, truth_json, walk
from posescore.lab.walks.motion import FPS
from posescore.scoring.log import log_from_json
from posescore.terms import STATES
from tests.evaluation.pose_sets import needs_pose_set

pytestmark = needs_pose_set


@pytest.fixture(scope="module")
def match() -> WalkedMatch:
    return walk(load_graph("test"), np.random.default_rng(3), (60, 90))


def test_a_seed_gives_one_match(match: WalkedMatch) -> None:
    again = walk(load_graph("test"), np.random.default_rng(3), (60, 90))
    assert np.array_equal(again.joints_m, match.joints_m)
    assert again.holds == match.holds
    assert again.events == match.events


def test_motion_is_smooth_and_above_the_mat(match: WalkedMatch) -> None:
    assert np.isfinite(match.joints_m).all()
    assert match.joints_m[..., 2].min() >= 0.019
    step_m = np.linalg.norm(np.diff(match.joints_m, axis=0), axis=-1)
    # A hand or foot hardly goes faster than 15 m/s in grappling (common practice).
    assert step_m.max() < 15 / FPS
    assert np.percentile(step_m, 50) > 0.0005  # nobody is ever still


def test_holds_carry_their_state_and_never_overlap(match: WalkedMatch) -> None:
    for hold in match.holds:
        inside = (match.time_s >= hold.start_s - 1e-3) & (match.time_s < hold.end_s - 0.5 / FPS)
        assert {STATES[s] for s in match.state[inside]} == {hold.state}
    for before, after in zip(match.holds[:-1], match.holds[1:], strict=True):
        assert before.end_s <= after.start_s + 1e-3


def test_criteria_are_those_of_the_questions_and_asked_where_they_are(match: WalkedMatch) -> None:
    n = len(match.state)
    assert set(match.criteria) == {question.name for question in QUESTIONS}
    for question in QUESTIONS:
        answers = match.criteria[question.name]
        assert answers.shape == ((n, 2) if question.sided else (n,))
        asked = np.array([s >= 0 and STATES[s].position in question.positions for s in match.state])
        assert (answers[~asked] == -1).all()


def test_the_truth_is_a_log_that_the_engine_reads_the_same(match: WalkedMatch) -> None:
    truth = json.loads(json.dumps(truth_json(match)))
    log = log_from_json({key: truth[key] for key in ("rules", "holds", "events")})
    given = [(p.kind, p.athlete, p.points) for p in log.ruling().proposals if p.points]
    own = [(p.kind, p.athlete, p.points) for p in ruling_of(match).proposals if p.points]
    assert given == own
    assert truth["states"][0]["start_s"] == 0.0
    assert truth["states"][-1]["end_s"] == pytest.approx(truth["duration_s"])


def test_test_poses_are_novel_and_entries_are_divided() -> None:
    whole = load_pose_set()
    train, test = split_entries(whole.entry, seed=0)
    for entries, mine in (("train", train), ("test", test)):
        graph = load_graph(entries)  # type: ignore[arg-type]
        used = {int(e) for keys in graph.keys.values() for e in keys.entry if e >= 0}
        used |= {leg.entry for legs in graph.legs.values() for leg in legs}
        assert used <= set(whole.entry[mine].tolist())
    graph = load_graph("test")
    for position, keys in load_graph("train").keys.items():
        shared = set(keys.entry) & set(graph.keys[position].entry)
        assert not shared, position
    named = np.concatenate(
        [k.joints_m[(k.entry >= 0) & (k.place >= 0)] for k in graph.keys.values()]
    )
    apart = nearest_distance_m(named, whole.joints_m[train])
    assert apart.min() >= PURGE_DISTANCE_M - 1e-3


def test_what_is_seen_lies_mostly_in_the_picture(match: WalkedMatch) -> None:
    view = seen(match, np.random.default_rng(0))
    assert view.true_px.shape == (len(match.state), 2, 21, 2)
    inside = (view.true_px >= 0) & (view.true_px < np.array(view.track.picture_size_px))
    assert inside.all(-1).mean() > 0.9
    assert 0.3 < view.visible.mean() < 0.95


def test_errors_last_and_are_larger_where_hidden(match: WalkedMatch) -> None:
    rng = np.random.default_rng(1)
    view = seen(match, rng)
    read = errors(view.track, view.visible, rng, amount=1.0)
    off = read.keypoints_px - view.true_px
    size = np.linalg.norm(off, axis=-1)
    assert np.nanmedian(size[~view.visible]) > 1.3 * np.nanmedian(size[view.visible])
    steps = np.nanmedian(np.linalg.norm(off[FPS // 3 :] - off[: -FPS // 3], axis=-1))
    assert steps < 1.4 * np.nanmedian(size)  # independent errors would differ by 1.41 times
    missing = np.isnan(read.keypoints_px[..., 0])
    assert np.array_equal(missing, np.isnan(read.keypoint_confidence))
    assert 0.0 < missing.mean() < 0.2
