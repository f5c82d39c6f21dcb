"""How long our networks take, beside MediaPipe's: ``python -m posescore.pose.pair_speed``.

Milliseconds of processor time of this process (not of the clock, so a busy machine tells the same
story), each network on one thread, the median of many calls on the same picture.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from posescore.footage.opencv import cv2
from posescore.pose.estimator import Picture
from posescore.pose.mediapipe_estimator import MediaPipeEstimator
from posescore.pose.pair_finder import PairFinder
from posescore.pose.pair_network import PairNetworkEstimator


def processor_ms(call: Callable[[], object], repeats: int = 30) -> float:
    """Median processor time of a call after two to warm up."""
    spent = []
    for _ in range(repeats + 2):
        began = time.process_time()
        call()
        spent.append((time.process_time() - began) * 1000)
    return float(np.median(spent[2:]))


def _picture(width_px: int = 960, height_px: int = 540) -> Picture:
    noise = np.random.default_rng(0).integers(0, 256, (height_px, width_px, 3), np.uint8)
    return np.asarray(cv2.GaussianBlur(noise, (0, 0), 4), np.uint8)


def main() -> None:
    """Print the table."""
    picture = _picture()
    network, finder = PairNetworkEstimator(threads=1), PairFinder(threads=1)
    mediapipe = MediaPipeEstimator()
    found_ms = processor_ms(lambda: finder.find(picture))
    read_ms = processor_ms(lambda: network.read(picture, (480.0, 270.0), 400.0))
    look_ms = processor_ms(lambda: mediapipe.people(picture))
    mediapipe.close()
    print(f"pair finder, whole picture      {found_ms:6.1f} ms")
    print(f"pair network, one square        {read_ms:6.1f} ms  (a frame of a followed video)")
    print(f"finder and network              {found_ms + read_ms:6.1f} ms")
    print(f"a picture that stands alone     {found_ms + 2 * read_ms:6.1f} ms")
    print(f"MediaPipe's detector, nobody    {look_ms:6.1f} ms")


if __name__ == "__main__":
    main()
