"""Pictures drawn as photographs show pairs."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="drawing needs the extra 'lab'")

from posescore.lab.corpus.pictures import DRAWN_SIDE_PX  # noqa: E402
from posescore.lab.pictures.drawn_scores import framed_photographs  # noqa: E402


def test_pairs_fill_the_frame_as_in_photographs() -> None:
    random = np.random.default_rng(3)
    low = torch.tensor(random.uniform(-0.5, 0, (400, 2)))
    high = low + torch.tensor(random.uniform(0.1, 0.6, (400, 2)))
    frame, shape = framed_photographs(random, low, high)
    extent = (high - low).numpy() * frame.scale.numpy() / DRAWN_SIDE_PX
    fill = (extent / shape).max(axis=1)
    assert ((fill > 0.39) & (fill < 1.11)).all()
    assert np.ptp(fill) > 0.6
    assert (shape.max(axis=1) == 1).all()
    # The frame lies in the middle of the square, and bars cover the rest.
    bars = frame.bars.numpy()
    assert np.allclose(bars[:, :2], bars[:, 2:])
    assert np.allclose(1 - 2 * bars[:, :2], shape)


def test_a_pair_smaller_than_its_frame_is_wholly_in_it() -> None:
    random = np.random.default_rng(4)
    low = torch.tensor(random.uniform(-0.5, 0, (400, 2)))
    high = low + torch.tensor(random.uniform(0.1, 0.6, (400, 2)))
    frame, shape = framed_photographs(random, low, high)
    scale = frame.scale.numpy() / DRAWN_SIDE_PX
    left = (low.numpy() - frame.centre.numpy()) * scale + 0.5
    right = (high.numpy() - frame.centre.numpy()) * scale + 0.5
    whole = ((right - left) / shape).max(axis=1) < 0.9
    edge = (1 - shape) / 2
    assert whole.sum() > 100
    assert (left >= edge - 0.03)[whole].all()
    assert (right <= 1 - edge + 0.03)[whole].all()
