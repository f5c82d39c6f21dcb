from __future__ import annotations

import numpy as np
import pytest

from posescore.evaluation.poses3d.pose_set import nearest_distance_m
from posescore.evaluation.position import (
    N_TESTED,
    Judged,
    calibration_error,
    evaluate,
    judge,
    macro_f1,
    spoiled_keypoints,
    summary,
    table,
    upper_accuracy,
)
from posescore.lab.train.positions.material import folds_of
from posescore.position.classifier import PositionClassifier
from posescore.position.classify import GROUPS
from posescore.resources import shipped
from posescore.terms import N_COCO, STATES, Athlete, Position, State
from tests.evaluation.pose_sets import pose_set_or_skip


def _judged(truth: list[State], answer: list[State], sure: float = 1.0) -> Judged:
    index = {state: i for i, state in enumerate(STATES)}
    probability = np.full((len(truth), len(STATES)), (1 - sure) / (len(STATES) - 1))
    probability[np.arange(len(truth)), [index[s] for s in answer]] = sure
    return Judged(
        np.array([index[s] for s in truth]), probability,
        np.arange(len(truth)), np.full(len(truth), 0.1), np.zeros(len(truth), int),
    )  # fmt: skip


EVERY = [s for s in STATES if s.position is not Position.SCRAMBLE]


def test_a_perfect_answer_has_f1_of_one() -> None:
    judged = _judged(EVERY, EVERY)
    assert macro_f1(judged) == 1.0
    assert upper_accuracy(judged) == 1.0
    assert calibration_error(judged) == pytest.approx(0.0)


def test_north_south_counts_as_side_control_and_scramble_as_wrong() -> None:
    mount = State(Position.MOUNT, Athlete.A)
    side, north = (State(p, Athlete.A) for p in (Position.SIDE_CONTROL, Position.NORTH_SOUTH))
    assert list(GROUPS)[_judged([side], [north]).group[0]] == "side control"
    judged = _judged([mount, mount], [mount, State(Position.SCRAMBLE)])
    figures = summary(judged)
    assert figures["groups"][3]["recall"] == pytest.approx(0.5)


def test_the_wrong_athlete_on_top_is_seen() -> None:
    mine, other = (State(Position.MOUNT, a) for a in Athlete)
    assert upper_accuracy(_judged([mine, mine], [mine, other])) == 0.5


def test_overconfidence_is_a_calibration_error() -> None:
    mount, back = State(Position.MOUNT, Athlete.A), State(Position.BACK_CONTROL, Athlete.A)
    judged = _judged([mount, mount], [mount, back], sure=0.9)
    assert calibration_error(judged) == pytest.approx(0.4)


def test_no_entry_is_learned_from_and_tested_by_one_member() -> None:
    pose_set = pose_set_or_skip()
    named = pose_set.labelled
    fold = folds_of(named, 5)
    for index in range(5):
        assert not set(named.entry[fold == index]) & set(named.entry[fold != index])
    classifier = PositionClassifier.load()
    held = [set(entries.tolist()) for entries in classifier.held_back_entries]
    assert set.union(*held) == set(named.entry.tolist())
    assert sum(map(len, held)) == len(set(named.entry.tolist()))


def test_spoiling_is_two_per_cent_and_ten_per_cent() -> None:
    pose_set = pose_set_or_skip()
    frames = pose_set.joints_m[:400]
    clean, _ = spoiled_keypoints(frames, np.random.default_rng(0), 0.0, 0.0)
    noisy, _ = spoiled_keypoints(frames, np.random.default_rng(0), 0.02, 0.10)
    assert clean.shape == (400, 2, N_COCO, 2)
    points = clean.reshape(400, -1, 2)
    size = (points.max(1) - points.min(1)).max(1)
    error = np.linalg.norm(noisy - clean, axis=-1) / size[:, None, None]
    assert np.median(error) == pytest.approx(0.02 * 1.25, rel=0.15)
    assert (error > 0.08).mean() == pytest.approx(0.09, abs=0.02)


def test_the_floor_on_held_back_entries() -> None:
    pose_set = pose_set_or_skip()
    classifier = PositionClassifier.load()
    figures = summary(judge(classifier, pose_set, views=4))
    strict = judge(classifier, pose_set, views=4, purge_m=0.05)
    assert (strict.distance_m >= 0.05).all()
    assert figures["macro_f1"] > FLOOR
    assert macro_f1(strict) > STRICT_FLOOR
    assert 0 < figures["macro_f1_spread"] < 0.03
    assert figures["macro_f1"] > figures["dummy_macro_f1"] + 0.4
    assert figures["upper_accuracy"] > 0.93
    assert len(figures["groups"]) == N_TESTED
    assert any(f"{figures['macro_f1']:.3f}" in line for line in table(figures))


def test_purging_leaves_nothing_near() -> None:
    pose_set = pose_set_or_skip()
    named = pose_set.labelled
    fold = folds_of(named, 5)
    distance = nearest_distance_m(named.joints_m[fold == 0], named.joints_m[fold != 0])
    assert (distance < 0.05).any()  # entries do share frames: the purge is needed


def test_the_card_belongs_to_the_model_and_says_what_the_evaluation_prints() -> None:
    classifier = PositionClassifier.load()
    text = shipped("models", "position_classifier.md").read_text("utf-8")
    assert classifier.sha256 in text
    pose_set_or_skip()
    for line in table(evaluate(classifier=classifier)):
        assert line in text


FLOOR, STRICT_FLOOR = 0.91, 0.85
"""Two networks a picture, few cameras; the whole table is ``posescore evaluate position``."""
