"""How a film looks, drawn at random: people, gis, hall, light, cameras and who walks about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from posescore.lab.bodies.body import Build
from posescore.lab.matches.script import Clothes, Shot
from posescore.lab.stage.hall import Look as Hall
from posescore.lab.stage.referee import Route
from posescore.lab.stage.renderer import Colour

BUILDS: Final = (
    Build(height=0.46, muscle=0.66, weight=0.44),
    Build(height=0.42, muscle=0.52, weight=0.62),
    Build(height=0.55, muscle=0.52, weight=0.50, gender=0.95),
    Build(height=0.47, muscle=0.78, weight=0.58, age=0.7),
)
"""Athletes' bodies; the size comes from the match walked. None is among the training pictures'."""
REFEREE_BUILDS: Final = (
    Build(height=0.41, muscle=0.48, weight=0.56, age=0.78),
    Build(height=0.52, muscle=0.45, weight=0.47, gender=0.9, age=0.7),
)

GIS: Final[tuple[Colour, ...]] = (
    (0.82, 0.81, 0.77), (0.74, 0.74, 0.72), (0.03, 0.08, 0.28), (0.06, 0.16, 0.46),
    (0.022, 0.023, 0.027), (0.02, 0.035, 0.11),
)  # fmt: skip
"""White, natural white, blue, light blue, black, navy: common practice; linear colours."""
_SKINS: Final[tuple[Colour, ...]] = (
    (0.56, 0.36, 0.27), (0.47, 0.29, 0.20), (0.33, 0.18, 0.11), (0.19, 0.10, 0.062),
)  # fmt: skip
_HAIRS: Final[tuple[Colour, ...]] = (
    (0.012, 0.010, 0.010), (0.07, 0.04, 0.02), (0.25, 0.16, 0.07), (0.12, 0.11, 0.10),
)  # fmt: skip
_BELTS: Final[tuple[Colour, ...]] = (
    (0.75, 0.74, 0.70), (0.04, 0.09, 0.33), (0.13, 0.035, 0.21), (0.12, 0.055, 0.025),
    (0.015, 0.015, 0.016),
)  # fmt: skip
_SHIRTS: Final[tuple[Colour, ...]] = ((0.24, 0.25, 0.26), (0.03, 0.03, 0.035), (0.07, 0.12, 0.22))
_TROUSERS: Final[Colour] = (0.05, 0.05, 0.055)
_MATS: Final[tuple[tuple[Colour, Colour], ...]] = (
    ((0.10, 0.20, 0.42), (0.55, 0.44, 0.08)), ((0.16, 0.17, 0.18), (0.40, 0.07, 0.06)),
    ((0.42, 0.40, 0.36), (0.10, 0.14, 0.30)), ((0.08, 0.30, 0.20), (0.40, 0.40, 0.38)),
    ((0.46, 0.10, 0.08), (0.12, 0.22, 0.34)), ((0.55, 0.50, 0.18), (0.09, 0.30, 0.26)),
)  # fmt: skip

FAR_AWAY: Final[Route] = ((0.0, (60.0, 60.0)), (9999.0, (60.0, 60.0)))


@dataclass(frozen=True, slots=True)
class FilmLook:
    """Everything about a film that is not the match.

    Parameters
    ----------
    builds
        Index into :data:`BUILDS` of A and B, and into :data:`REFEREE_BUILDS` of the referee.
    colours
        Linear colours of the parts of A, B and the referee.
    hall
        Mat, walls and light.
    shots
        Cameras; footage cuts from one to the next.
    route
        Where the referee walks; None where there is none.
    zoom
        Largest change of the focal length, as a share of it.
    seed
        Of everything else: creases, the camera's unrest.
    """

    builds: tuple[int, int, int]
    colours: tuple[dict[str, Colour], dict[str, Colour], dict[str, Colour]]
    hall: Hall
    shots: tuple[Shot, ...]
    route: Route | None
    zoom: float
    seed: int

    @property
    def trouble(self) -> tuple[str, ...]:
        """Which of *referee*, *pan* and *cut* the film has."""
        has = {
            "referee": self.route is not None,
            "pan": any(shot.pans for shot in self.shots),
            "cut": len(self.shots) > 1,
        }
        return tuple(name for name, there in has.items() if there)


def draw_look(seed: int, end_s: float) -> FilmLook:
    """The look of a film; every second seed has a referee, a pan or a cut, at least one of them."""
    rng = np.random.default_rng([seed, 71])
    trouble = set(rng.permutation(["referee", "pan", "cut"])[: rng.integers(1, 3)].tolist())
    trouble = trouble if seed % 2 else set()
    return FilmLook(
        (int(rng.integers(len(BUILDS))), int(rng.integers(len(BUILDS))),
         int(rng.integers(len(REFEREE_BUILDS)))),
        _people(rng),
        _hall(rng),
        _shots(rng, end_s, trouble),
        _route(rng, end_s) if "referee" in trouble else None,
        float(rng.choice([0.0, 0.0, 0.2, 0.35])),
        seed,
    )  # fmt: skip


def _people(
    rng: np.random.Generator,
) -> tuple[dict[str, Colour], dict[str, Colour], dict[str, Colour]]:
    def of(colours: tuple[Colour, ...]) -> Colour:
        return colours[int(rng.integers(len(colours)))]

    build = BUILDS[0]
    gis = rng.choice(len(GIS), 2, replace=rng.random() < 0.3)
    a, b = (Clothes(build, of(_SKINS), of(_HAIRS), GIS[gi], of(_BELTS)).colours() for gi in gis)
    referee = Clothes(build, of(_SKINS), of(_HAIRS), of(_SHIRTS), _TROUSERS, _TROUSERS).colours()
    return a, b, referee


def _hall(rng: np.random.Generator) -> Hall:
    inner, outer = _MATS[int(rng.integers(len(_MATS)))]
    shade = float(rng.uniform(0.75, 1.2))
    warm = float(rng.uniform(-0.12, 0.12))
    return Hall(
        inner=(inner[0] * shade, inner[1] * shade, inner[2] * shade),
        outer=(outer[0] * shade, outer[1] * shade, outer[2] * shade),
        tint=(shade * (1 + warm), shade, shade * (1 - warm)),
        light_way=(float(rng.uniform(-0.7, 0.7)), float(rng.uniform(-0.7, 0.7)), 1.0),
        all_walls=True,
    )


def _shots(rng: np.random.Generator, end_s: float, trouble: set[str]) -> tuple[Shot, ...]:
    count = int(rng.integers(2, 4)) if "cut" in trouble else 1
    starts = [0.0, *np.sort(rng.uniform(0.15, 0.9, count - 1) * end_s)]
    ends = [*starts[1:], end_s]
    azimuth = float(rng.uniform(0, 360))
    shots = []
    for start, end in zip(starts, ends, strict=True):
        pans = []
        if "pan" in trouble and end - start > 8:
            times = np.arange(start + rng.uniform(3, 8), end - 3, rng.uniform(9, 18))
            pans = [(float(t), float(rng.choice([-1, 1]) * rng.uniform(12, 40))) for t in times]
        height = float(rng.choice([rng.uniform(0.5, 1.2), rng.uniform(1.3, 1.9),
                                   rng.uniform(2.0, 3.4)], p=[0.25, 0.5, 0.25]))  # fmt: skip
        away = float(rng.uniform(2.4, 4.6))
        shots.append(Shot(float(start), azimuth, away, height, tuple(pans)))
        azimuth += float(rng.uniform(40, 180))
    return tuple(shots)


def _route(rng: np.random.Generator, end_s: float) -> Route:
    """Stops on a ring about the pair; the referee walks the ring from one to the next."""
    bearing, at_s = float(rng.uniform(0, 2 * np.pi)), 0.0
    stops = []
    while at_s < end_s + 12:
        reach = float(rng.uniform(1.3, 2.4))
        place = (reach * float(np.cos(bearing)), reach * float(np.sin(bearing)))
        stay_s = float(rng.uniform(2, 9))
        stops += [(at_s, place), (at_s + stay_s, place)]
        turn = float(rng.choice([-1, 1]) * rng.uniform(0.4, 1.3))
        walk_s = abs(turn) * 2.0 / 0.9 + 0.6
        at_s, bearing = at_s + stay_s + walk_s, bearing + turn
    return tuple(stops)
