"""A picture that stands alone: which squares of it are read, and whose answer is taken."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from posescore.footage.opencv import cv2
from posescore.pose.estimators.choice import chosen_estimator
from posescore.pose.estimators.estimator import Box, Picture
from posescore.pose.estimators.pair_finder import PairFinder
from posescore.pose.estimators.pair_network import PairNetworkEstimator, Square
from posescore.pose.estimators.pair_prediction import PairRead, combined
from posescore.pose.track_cache import cache_key
from posescore.terms import MIRRORED_KEYPOINTS
from tests.pose.test_pair_prediction import pair, read_of

FIRST, AGAIN = Box(140, 140, 200, 190), Box(162, 155, 190, 180)
PICTURE = np.zeros((240, 320, 3), np.uint8)
WHOLE: Square = ((160.0, 120.0), 320.0)


class Finder(PairFinder):
    """Finds one box in the whole picture and another when it looks again."""

    def __init__(self) -> None:
        self.looked_within: list[Square | None] = []

    def find(self, picture: Picture, within: Square | None = None) -> Box:
        self.looked_within.append(within)
        return FIRST if within is None else AGAIN


class Reader(PairNetworkEstimator):
    """Sees the same pair in every square, as surely as it is told; notes what it was asked."""

    def __init__(self, sure: Callable[[Square], float], *, alternative_crops: bool = True) -> None:
        super().__init__(threads=1, alternative_crops=alternative_crops)
        self._finder = self.finder = Finder()
        self._sure_of = sure
        self.asked: list[tuple[Square, bool]] = []

    def read(self, picture: Picture, square: Square, *, mirrored: bool = False) -> PairRead:
        self.asked.append((square, mirrored))
        return read_of(pair(), self._sure_of(square))


def squares(reader: Reader) -> list[Square]:
    return [square for square, _ in reader.asked]


def around(box: Box) -> Square:
    return ((box.centre_x_px, box.centre_y_px), 1.2 * max(box.width_px, box.height_px))


def test_where_the_first_square_is_clear_no_other_is_read() -> None:
    reader = Reader(lambda _: 0.9)
    reader.look(PICTURE)
    assert reader.finder.looked_within == [None]
    assert WHOLE not in squares(reader)
    assert around(AGAIN) not in squares(reader)


@pytest.mark.parametrize("best", [WHOLE, around(AGAIN)])
def test_a_surer_square_is_read_both_ways_and_answers(best: Square) -> None:
    reader = Reader(lambda square: 0.7 if square == best else 0.4)
    look = reader.look(PICTURE)
    assert [m for square, m in reader.asked if square == best] == [False, True]
    assert look.confidence.mean() > 0.5


def test_a_first_square_as_sure_as_the_others_stays() -> None:
    reader = Reader(lambda _: 0.5)
    reader.look(PICTURE)
    assert [m for square, m in reader.asked if square == WHOLE] == [False]
    assert [m for square, m in reader.asked if square == around(AGAIN)] == [False]
    assert [m for square, m in reader.asked if square == around(FIRST)] == [False, True]


def test_the_finder_looks_again_around_what_it_found() -> None:
    reader = Reader(lambda _: 0.5)
    reader.look(PICTURE)
    _, within = reader.finder.looked_within
    assert within is not None
    assert within[0] == (FIRST.centre_x_px, FIRST.centre_y_px)
    assert within[1] > max(FIRST.width_px, FIRST.height_px)


def test_a_followed_frame_is_read_once_however_doubtful() -> None:
    reader = Reader(lambda _: 0.3)
    reader.look(PICTURE, (Box(160, 150, 200, 190),))
    assert len(reader.asked) == 1
    assert reader.finder.looked_within == []


def test_in_a_video_a_doubtful_frame_keeps_to_the_first_square() -> None:
    reader = Reader(lambda square: 0.7 if square == WHOLE else 0.4, alternative_crops=False)
    reader.look(PICTURE)
    assert reader.finder.looked_within == [None]
    assert len(reader.asked) == 4
    assert WHOLE not in squares(reader)


def test_the_estimator_of_a_video_is_another_one_in_the_cache() -> None:
    followed, alone = chosen_estimator(of_video=True), chosen_estimator()
    assert cache_key("0", followed.step, {}) != cache_key("0", alone.step, {})
    followed.close()
    alone.close()


@pytest.mark.parametrize("best", [WHOLE, around(AGAIN), around(FIRST)])
def test_never_more_than_seven_reads_where_the_pair_is_in_the_square(best: Square) -> None:
    reader = Reader(lambda square: 0.7 if square == best else 0.4)
    reader.look(PICTURE)
    assert 6 <= len(reader.asked) <= 7


def test_a_mirrored_read_tells_of_the_picture_itself() -> None:
    network = PairNetworkEstimator(threads=1)
    picture = np.random.default_rng(5).integers(0, 255, (256, 256, 3), np.uint8)
    square = ((128.0, 128.0), 256.0)
    told = combined([network.read(picture, square, mirrored=True)])
    flipped = combined([network.read(np.ascontiguousarray(picture[:, ::-1]), square)])
    back = (flipped.keypoints_px * [-1, 1] + [256, 0])[:, list(MIRRORED_KEYPOINTS)]
    assert np.allclose(told.keypoints_px, back, atol=0.05)
    assert np.allclose(told.confidence, flipped.confidence[:, list(MIRRORED_KEYPOINTS)], atol=1e-5)


def test_the_finder_tells_a_part_s_box_in_pixels_of_the_picture() -> None:
    finder = PairFinder(threads=1)
    noise = np.random.default_rng(2).integers(0, 255, (500, 640, 3), np.uint8)
    picture = np.asarray(cv2.GaussianBlur(noise, (0, 0), 5), np.uint8)
    whole = finder.find(picture)
    assert finder.find(picture, ((320.0, 250.0), 640.0)) == whole
    part = np.ascontiguousarray(picture[60:460, 110:510])
    inside, alone = finder.find(picture, ((310.0, 260.0), 400.0)), finder.find(part)
    assert inside.centre_x_px == pytest.approx(alone.centre_x_px + 110, abs=1)
    assert inside.centre_y_px == pytest.approx(alone.centre_y_px + 60, abs=1)
    assert inside.width_px == pytest.approx(alone.width_px, abs=1)
