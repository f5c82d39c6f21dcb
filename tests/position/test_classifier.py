from __future__ import annotations

import json
import time
from pathlib import Path

import numpy as np
import pytest

from posescore.errors import MissingPartError
from posescore.evaluation.poses3d.pose_set import swapped_states
from posescore.position.classifier import EVERY, PositionClassifier
from posescore.position.classify import GROUPS, answer, classify_pictures
from posescore.resources import shipped
from posescore.terms import MIRRORED_KEYPOINTS, STATES, Athlete, Position, State
from tests.position.test_normalise import pictures

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def classifier() -> PositionClassifier:
    return PositionClassifier.load()


def test_rows_sum_to_one(classifier: PositionClassifier) -> None:
    rows = classifier.of_keypoints(*pictures(1, 50))
    assert rows.shape == (50, len(STATES))
    assert np.allclose(rows.sum(1), 1, atol=1e-9)
    assert (rows >= 0).all()


def test_exchanging_athletes_exchanges_sides(classifier: PositionClassifier) -> None:
    keypoints, confidence = pictures(2, 200)
    plain = classifier.of_keypoints(keypoints, confidence)
    other = classifier.of_keypoints(keypoints[:, ::-1], confidence[:, ::-1])
    assert np.allclose(other[:, swapped_states()], plain, atol=1e-5)


def test_a_mirrored_picture_has_the_same_answer(classifier: PositionClassifier) -> None:
    keypoints, confidence = pictures(3, 200)
    order = list(MIRRORED_KEYPOINTS)
    image = keypoints[:, :, order] * np.array([-1, 1], np.float32)
    mirrored = classifier.of_keypoints(image, confidence[:, :, order])
    assert np.allclose(mirrored, classifier.of_keypoints(keypoints, confidence), atol=1e-4)


def test_nobody_in_view_is_answered_by_frequencies(classifier: PositionClassifier) -> None:
    keypoints = np.full((1, 2, 21, 2), np.nan, np.float32)
    row = classifier.of_keypoints(keypoints, keypoints[..., 0])[0]
    assert np.allclose(row, classifier.nobody)
    assert row.max() < 0.3


def test_one_athlete_alone_is_uncertain(classifier: PositionClassifier) -> None:
    keypoints, confidence = pictures(6, 100, missing=0.0)
    keypoints[:, 1], confidence[:, 1] = np.nan, np.nan
    rows = classifier.of_keypoints(keypoints, confidence)
    assert np.median(rows.max(1)) < 0.8


def test_pictures_are_answered_in_order_with_every_position(
    classifier: PositionClassifier,
) -> None:
    keypoints, confidence = pictures(7, 30)
    names = [f"{i}.jpg" for i in range(30)]
    answers = list(classify_pictures(keypoints, confidence, names, [None] * 30, classifier))
    assert [a["frame"] for a in answers] == names
    for found in answers:
        given = found["probabilities"]
        assert isinstance(given, dict)
        assert set(given) == {str(p) for p in Position}
        assert sum(given.values()) == pytest.approx(1, abs=1e-9)
        of_group = {g: sum(given[str(p)] for p in g) for g in GROUPS.values()}
        best = max(of_group, key=lambda g: of_group[g])
        assert found["position"] == max(map(str, best), key=lambda name: given[name])
        has_upper = Position(str(found["position"])).has_upper
        assert (found["upper"] in ("A", "B")) == has_upper


def test_what_an_estimator_found_is_calibrated_as_the_pose_pass_is(
    classifier: PositionClassifier,
) -> None:
    keypoints, _ = pictures(8, 3, missing=0.0)
    confidence = np.ones(keypoints.shape[:3], np.float32)
    confidence[1] = 0.8  # marked by hand, but hidden
    confidence[2, 0, 4] = 0.31
    answers = list(classify_pictures(keypoints, confidence, "abc", [None] * 3, classifier))
    for index, found in enumerate(answers):
        row = classifier.of_keypoints(keypoints, confidence, of_pass=index == 2)[index]
        expected = answer("abc"[index], None, row)
        assert found["probabilities"] == pytest.approx(expected["probabilities"])


def test_two_guards_together_outweigh_a_third_position() -> None:
    share = {
        State(Position.OPEN_GUARD, Athlete.A): 0.30,
        State(Position.CLOSED_GUARD, Athlete.A): 0.25,
        State(Position.MOUNT, Athlete.B): 0.45,
    }
    row = np.array([share.get(state, 0.0) for state in STATES])
    given = answer("f", None, row)
    assert (given["position"], given["upper"]) == ("open_guard", "A")


@pytest.mark.parametrize("count", [0, 1, 2, 5, 9, 98])
def test_every_instant_of_a_film_has_a_row(classifier: PositionClassifier, count: int) -> None:
    keypoints, confidence = (array[:count] for array in pictures(0, count + 1))
    rows = classifier.of_instants(keypoints, confidence)
    assert rows.shape == (count, len(STATES))
    assert np.allclose(rows.sum(1), 1)
    for place in {0, count - 1, *range(0, count, EVERY)} & set(range(count)):
        alone = classifier.of_instants(keypoints[[place]], confidence[[place]])
        assert np.allclose(rows[place], alone[0], atol=1e-5)


def test_another_networks_file_and_a_broken_one_are_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(MissingPartError, match="another version"):
        PositionClassifier.load(shipped("models", "pair_finder.onnx"))
    path = tmp_path / "broken.onnx"
    path.write_bytes(b"no network")
    with pytest.raises(MissingPartError, match="no network that runs here"):
        PositionClassifier.load(path)
    with pytest.raises(MissingPartError, match="cannot be read"):
        PositionClassifier.load(tmp_path / "none.onnx")


def test_the_answer_to_fixed_pictures_is_that_of_the_shipped_networks(
    classifier: PositionClassifier,
) -> None:
    """What the same weights answered in plain numpy, before they ran in onnxruntime."""
    expected = json.loads((HERE / "position_answers.json").read_text("utf-8"))
    given = pictures(9, 4)
    for fold, rows in zip([None, *range(5)], expected, strict=True):
        assert np.allclose(classifier.of_keypoints(*given, fold), rows, atol=1e-3)


def test_ten_minutes_are_classified_within_the_budget(classifier: PositionClassifier) -> None:
    keypoints, confidence = pictures(0, 100)
    start = time.process_time()
    classifier.of_instants(np.tile(keypoints, (60, 1, 1, 1)), np.tile(confidence, (60, 1, 1)))
    assert time.process_time() - start < 4.0  # about half a second on an idle core
