"""A pose pass that was killed goes on where it was, and comes to the same end."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.pose.estimators.estimate_cache import cached_estimates
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.terms import Step


class Asked:
    """Answers with what it was asked, and dies after some calls."""

    def __init__(self, dies_after: int = 10**6) -> None:
        self.calls = 0
        self.closed = False
        self._dies_after = dies_after

    @property
    def step(self) -> Step:
        return Step("asked")

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        if self.calls >= self._dies_after:
            raise KeyboardInterrupt
        self.calls += 1
        made = PairEstimate.nobody()
        made.keypoints_px[0] = picture[0, 0, 0]
        made.keypoints_px[1, :7] = boxes[0].centre_x_px if boxes else np.nan
        made.keypoint_confidence[0] = 0.5
        return made

    def close(self) -> None:
        self.closed = True


def picture(shade: int) -> Picture:
    return np.full((24, 32, 3), shade, np.uint8)


def ask(estimator: Asked, path: Path | None, shades: list[int]) -> list[PairEstimate]:
    """A chain of questions, each with a box out of the answer before."""
    answers: list[PairEstimate] = []
    with cached_estimates(estimator, path) as keeping:
        for shade in shades:
            boxes = (Box(float(answers[-1].keypoints_px[0, 0, 0]), 1, 2, 3),) if answers else ()
            answers.append(keeping.estimate(picture(shade), boxes))
    return answers


def same(one: list[PairEstimate], other: list[PairEstimate]) -> None:
    assert len(one) == len(other)
    for a, b in zip(one, other, strict=True):
        np.testing.assert_array_equal(a.keypoints_px, b.keypoints_px)
        np.testing.assert_array_equal(a.keypoint_confidence, b.keypoint_confidence)


shades = st.lists(st.integers(0, 255), min_size=1, max_size=12)


@settings(max_examples=40, deadline=None)
@given(shades=shades, data=st.data())
def test_it_goes_on_where_it_was_killed_whatever_was_written_last(
    tmp_path_factory: pytest.TempPathFactory, shades: list[int], data: st.DataObject
) -> None:
    path = tmp_path_factory.mktemp("poses") / "key.begun"
    dies_after = data.draw(st.integers(0, len(shades)))
    if dies_after < len(shades):
        with pytest.raises(KeyboardInterrupt):
            ask(Asked(dies_after), path, shades)
    else:
        ask(Asked(), path, shades)
    content = path.read_bytes()
    cut = data.draw(st.integers(0, len(content)))
    path.write_bytes(content[:cut])
    again = Asked()
    same(ask(again, path, shades), ask(Asked(), None, shades))
    record = len(content) // dies_after if dies_after else 0
    kept = cut // record if record else 0
    # A question that came up twice has its answer from the first time.
    assert len(set(shades)) - kept <= again.calls <= len(shades) - kept


@given(first=shades, second=shades)
@settings(max_examples=40, deadline=None)
def test_another_question_is_never_given_an_old_answer(
    tmp_path_factory: pytest.TempPathFactory, first: list[int], second: list[int]
) -> None:
    path = tmp_path_factory.mktemp("poses") / "key.begun"
    ask(Asked(), path, first)
    same(ask(Asked(), path, second), ask(Asked(), None, second))
    last = Asked()
    same(ask(last, path, second), ask(Asked(), None, second))
    assert last.calls == 0


def test_a_folder_that_cannot_be_written_costs_only_the_shortcut(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    estimator = Asked()
    ask(estimator, tmp_path / "file" / "key.begun", [1, 2])
    assert estimator.calls == 2


def test_it_stands_for_its_estimator(tmp_path: Path) -> None:
    estimator = Asked()
    with cached_estimates(estimator, tmp_path / "key.begun") as keeping:
        assert keeping.step == estimator.step
        keeping.close()
    assert estimator.closed
