from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from posescore.errors import InputError
from posescore.footage.clock import FrameClock
from posescore.pose.track import FindingKind, PairTrack
from posescore.pose.tracking.follow import follow, usual_step
from tests.pose.scenes import Body, Scene, SceneEstimator, path

WHITE, BLUE, BLACK = (228, 226, 220), (40, 70, 150), (25, 25, 28)
N = 180


def crossing(**b: object) -> Scene:
    left_to_right = path((0, 150, 200), (60, 290, 200), (90, 330, 205), (179, 520, 200), n_frames=N)
    right_to_left = path((0, 480, 200), (60, 350, 200), (90, 300, 195), (179, 120, 200), n_frames=N)
    return Scene(
        [
            Body(left_to_right, WHITE, turn_deg=28.0),
            Body(right_to_left, BLUE, turn_deg=-28.0, **b),  # type: ignore[arg-type]
        ],
        FrameClock.steady(N, 30),
    )


def distance_px(track: PairTrack, scene: Scene, slots: tuple[int, int]) -> NDArray[np.float64]:
    """``(n_frames, 2)``: mean distance of each slot to the body it should follow."""
    truth = scene.true_keypoints()[:, list(slots)]
    return np.asarray(np.linalg.norm(track.keypoints_px - truth, axis=-1).mean(axis=-1))


def kinds(track: PairTrack) -> set[FindingKind]:
    return {finding.kind for finding in track.findings}


@pytest.mark.parametrize("every", [None, 1])
def test_athletes_who_cross_stay_who_they_are(every: int | None) -> None:
    scene = crossing()
    track = follow(scene, SceneEstimator(scene), every=every)
    assert len(track) == N
    assert np.nanmax(distance_px(track, scene, (0, 1))) < 6
    assert np.isfinite(track.keypoints_px[:-2]).all()


def test_athletes_are_not_exchanged_while_one_is_hidden_in_the_crossing() -> None:
    scene = crossing(hidden=set(range(65, 110)))
    track = follow(scene, SceneEstimator(scene))
    apart = distance_px(track, scene, (0, 1))
    assert np.nanmax(apart[:, 0]) < 6
    assert (apart[:, 1] > 6).sum() <= 12  # a bridge into the crossing may lean on a wrong find
    assert np.isnan(apart[80:100, 1]).all()
    assert np.isfinite(apart[120:170]).all()
    missing = [f for f in track.findings if f.kind is FindingKind.ATHLETE_MISSING]
    assert len(missing) == 1
    assert missing[0].message.startswith("B was not found from 2.")
    assert missing[0].interval.end_s == pytest.approx(110 / 30, abs=0.1)


def test_short_gaps_are_bridged() -> None:
    scene = crossing(hidden=set(range(20, 28)))
    track = follow(scene, SceneEstimator(scene))
    assert np.nanmax(distance_px(track, scene, (0, 1))) < 8
    assert np.isfinite(track.keypoints_px[20:28]).all()
    assert not kinds(track)
    assert np.nanmean(track.keypoint_confidence[24, 1]) < np.nanmean(
        track.keypoint_confidence[10, 1]
    )


def test_the_referee_stays_out() -> None:
    scene = crossing()
    walk = path((0, 315, 150), (50, 600, 180), (100, 480, 185), (179, 40, 185), n_frames=N)
    referee = Body(walk, BLACK, scale=1.05)
    scene.bodies = [*scene.bodies, referee]
    taken_for_b = frozenset({46, 50, 52, 96, 100, 102})  # where he stands away from both
    track = follow(scene, SceneEstimator(scene, mistaken=taken_for_b))
    assert np.nanmax(distance_px(track, scene, (0, 1))) < 8


def test_the_referee_does_not_take_a_hidden_athletes_place() -> None:
    scene = crossing(hidden=set(range(270, 330)))
    walk = path((0, 600, 185), (80, 340, 185), (179, 300, 185), n_frames=N)
    scene.bodies = [*scene.bodies, Body(walk, BLACK)]
    # 200 frames in which the athletes grip and part again, before the crossing begins.
    for body, x in zip(scene.bodies, (270.0, 370.0, 600.0), strict=True):
        start_x, start_y = body.path_px[0]
        before = path((0, x, start_y), (150, x, start_y), (199, start_x, start_y), n_frames=200)
        body.path_px = np.concatenate([before, body.path_px])
    scene.times = FrameClock.steady(200 + N, 30)
    track = follow(scene, SceneEstimator(scene, mistaken=frozenset({300})))
    apart = distance_px(track, scene, (0, 1))
    assert np.isnan(apart[280:320, 1]).mean() > 0.9
    assert np.nanmax(apart[:, 0]) < 8
    assert (apart[:, 1] > 8).sum() <= 12  # the first moments behind the other body


def test_left_and_right_are_put_right() -> None:
    scene = crossing(flipped={*range(30, 40), 120, 121, 150, 152})
    track = follow(scene, SceneEstimator(scene), every=1)
    assert np.nanmax(distance_px(track, scene, (0, 1))) < 8


def test_the_hinted_gi_is_a() -> None:
    scene = crossing()
    track = follow(scene, SceneEstimator(scene), athlete_a_gi="blue")
    assert np.nanmax(distance_px(track, scene, (1, 0))) < 6
    with pytest.raises(InputError, match="'mauve' is no gi colour"):
        follow(scene, SceneEstimator(scene), athlete_a_gi="mauve")


def test_athletes_in_like_gis_are_doubted_where_they_cross() -> None:
    scene = crossing()
    for body in scene.bodies:
        body.gi = WHITE
    track = follow(scene, SceneEstimator(scene))
    assert FindingKind.POSSIBLE_SWAP in kinds(track)


def test_a_cut_is_reported_and_the_athletes_are_found_again() -> None:
    scene = crossing()
    scene.background = [95] * 130 + [190] * 50
    for body in scene.bodies:
        body.path_px = body.path_px.copy()
        body.path_px[130:, 0] = 640 - body.path_px[130:, 0]
    track = follow(scene, SceneEstimator(scene))
    cuts = [f for f in track.findings if f.kind is FindingKind.CUT]
    assert [round(cut.interval.start_s * 30) for cut in cuts] == [130]
    good = [*range(128), *range(130, N)]
    assert np.nanmax(distance_px(track, scene, (0, 1))[good]) < 6


def test_nobody_in_view_is_a_track_of_nothing() -> None:
    scene = Scene([], FrameClock.steady(40, 25))
    track = follow(scene, SceneEstimator(scene))
    assert len(track) == 40
    assert np.isnan(track.keypoints_px).all()
    assert kinds(track) == {FindingKind.ATHLETE_MISSING}


def test_one_person_alone_fills_one_slot() -> None:
    scene = crossing()
    scene.bodies = scene.bodies[:1]
    track = follow(scene, SceneEstimator(scene))
    assert np.isfinite(track.keypoints_px[:-2, 0]).all()
    assert np.isnan(track.keypoints_px[:, 1]).all()


def test_one_frame_is_enough() -> None:
    scene = crossing()
    scene.times = FrameClock.steady(1, 30)
    track = follow(scene, SceneEstimator(scene))
    assert len(track) == 1
    assert np.isfinite(track.keypoints_px).all()


def test_pose_depends_on_seconds_not_on_the_frame_rate() -> None:
    assert usual_step(FrameClock.steady(100, 24)) == 2
    assert usual_step(FrameClock.steady(100, 30)) == 2
    assert usual_step(FrameClock.steady(100, 60)) == 4
    assert usual_step(FrameClock.steady(100, 10)) == 1


def test_progress_ends_at_the_last_frame() -> None:
    scene = crossing()
    seen: list[tuple[int, int]] = []

    def tell(stage: str, done: int, total: int) -> None:
        seen.append((done, total))

    follow(scene, SceneEstimator(scene), progress=tell)
    assert seen[-1] == (N, N)
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


@pytest.mark.parametrize(("shade", "reported"), [(118, True), (97, False)])
def test_a_cut_within_one_hall_is_noticed_by_its_colours(shade: int, reported: bool) -> None:
    scene = crossing()
    scene.background = [95] * 100 + [shade] * (N - 100)
    track = follow(scene, SceneEstimator(scene), every=1)
    assert (FindingKind.CUT in kinds(track)) is reported
    assert np.nanmax(distance_px(track, scene, (0, 1))) < 6


def test_a_pair_that_is_suddenly_elsewhere_is_searched_in_the_whole_picture() -> None:
    """A swing of the camera, or a cut that looks too much alike to be noticed."""
    jump = ((0, 150, 150), (100, 200, 150), (101, 450, 240), (179, 480, 240))
    left = path(*jump, n_frames=N)
    scene = Scene(
        [Body(left, WHITE, scale=0.6), Body(left + np.array([70, 0]), BLUE, scale=0.6)],
        FrameClock.steady(N, 30),
    )
    track = follow(scene, SceneEstimator(scene), every=1)
    missing = np.isnan(track.keypoints_px).any(axis=(1, 2, 3))
    assert missing.sum() <= 3
    assert np.nanmax(distance_px(track, scene, (0, 1))[110:]) < 6
