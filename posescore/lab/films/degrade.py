"""Films made poor, as footage often is: ``python -m posescore.lab.films.degrade FILM OUT KIND``.

FILM is a video file; OUT is written. The kinds are those of :data:`KINDS`.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.encoding import write_film
from posescore.footage.opencv import cv2
from posescore.footage.reading import Footage


@dataclass(frozen=True, slots=True)
class Kind:
    """What is done to a film.

    Parameters
    ----------
    lines
        Rows of the smaller picture; None keeps them.
    quality
        The encoder's constant rate factor: 21 is good, 40 falls to blocks.
    noise
        Standard deviation of each pixel's noise, in steps of 255.
    blur_px
        Standard deviation of a bell over the picture.
    frames_per_s
        At most so many frames a second are kept; None keeps all.
    """

    lines: int | None = None
    quality: int = 21
    noise: float = 0.0
    blur_px: float = 0.0
    frames_per_s: float | None = None


KINDS: Final[dict[str, Kind]] = {
    "lines240": Kind(lines=240, quality=26),
    "lines360": Kind(lines=360, quality=26),
    "squeezed": Kind(quality=42),
    "noisy": Kind(noise=22.0, quality=28),
    "blurred": Kind(blur_px=3.0),
    "fps12": Kind(frames_per_s=12.0),
    "worst": Kind(lines=240, quality=36, noise=14.0),
}
"""``worst`` is small, noisy and heavily compressed at once."""


def degrade(film: Path, out: Path, kind: str, seed: int = 0) -> None:
    """Write a film made poor.

    Raises
    ------
    FootageError
        When the film cannot be read.
    """
    how, footage = KINDS[kind], Footage(film)
    width, height = footage.size_px
    if how.lines is not None:
        width, height = round(width * how.lines / height / 2) * 2, how.lines
    pictures = _made_poor(footage, how, (width, height), np.random.default_rng(seed))
    write_film(out, pictures, footage.clock().end_s, (width, height), quality=how.quality)


def _made_poor(
    footage: Footage, how: Kind, size_px: tuple[int, int], rng: np.random.Generator
) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    due_s = 0.0
    for frame in footage.frames():
        if how.frames_per_s is not None:
            if frame.time_s < due_s - 1e-6:
                continue
            due_s += 1.0 / how.frames_per_s
        yield frame.time_s, _poor(frame.picture, how, size_px, rng)


def _poor(
    picture: NDArray[np.uint8], how: Kind, size_px: tuple[int, int], rng: np.random.Generator
) -> NDArray[np.uint8]:
    if size_px != (picture.shape[1], picture.shape[0]):
        picture = np.asarray(cv2.resize(picture, size_px, interpolation=cv2.INTER_AREA), np.uint8)
    if how.blur_px:
        picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), how.blur_px), np.uint8)
    if how.noise:
        noise = rng.standard_normal(picture.shape, np.float32) * how.noise
        picture = np.clip(picture + noise, 0, 255).astype(np.uint8)
    return picture


def main() -> None:
    """Make one film poor."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("film", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("kind", choices=sorted(KINDS))
    arguments = parser.parse_args()
    degrade(arguments.film, arguments.out, arguments.kind)


if __name__ == "__main__":
    main()
