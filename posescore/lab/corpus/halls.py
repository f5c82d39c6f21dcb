"""Where rendered pairs meet: mats, walls, crowds, banners, lights, and what covers the view."""

from __future__ import annotations

import math
from typing import Final

import torch
from torch import Tensor
from torch.nn import functional

from posescore.lab.corpus.dice import Dice
from posescore.lab.corpus.layout import CAMERA, LIGHT, N_COVERS, N_SHAPES, SCENE

_MAT: Final = (
    (0.15, 0.25, 0.5), (0.25, 0.45, 0.7), (0.4, 0.4, 0.42), (0.2, 0.2, 0.22), (0.1, 0.4, 0.3),
    (0.85, 0.65, 0.12), (0.9, 0.75, 0.2), (0.65, 0.15, 0.12), (0.8, 0.8, 0.8), (0.7, 0.55, 0.35),
    (0.75, 0.75, 0.55), (0.1, 0.15, 0.35), (0.85, 0.4, 0.12),
)  # fmt: skip

LAMP_SIDE: Final = 192
"""Pixels along a side of the shadow map."""


def furnish(dice: Dice, count: int, view_azimuth: Tensor, mirror: Tensor) -> Tensor:
    """Rows of :data:`corpus.layout.SCENE`, ``(count, size)``.

    ``view_azimuth (count,)`` is where the camera stands, seen from the pair, in radians: walls are
    dressed on the other side.
    """
    rows = SCENE.rows(count, device=dice.device)
    radius = 1.8 + 9 * dice.uniform(count) ** 1.5
    turn = dice.uniform(count, high=2 * math.pi)
    SCENE.put(
        rows,
        seed=dice.uniform(count),
        hall_radius=radius,
        mat_turn=torch.stack([turn.cos(), turn.sin()], -1),
        mirror=mirror.float(),
    )
    _mats(dice, rows)
    _walls(dice, rows, radius, view_azimuth)
    _covers(dice, rows)
    return rows


def _mats(dice: Dice, rows: Tensor) -> None:
    count = len(rows)
    mat = dice.either(0.7, dice.palette(_MAT, count), dice.colour(count, saturation=1.0))
    area = dice.either(0.6, dice.palette(_MAT, count), dice.colour(count, saturation=1.0))
    tile = (mat * (1 + 0.25 * dice.normal(count, 3))).clamp(0.01, 1)
    tile_size = torch.where(dice.happens(0.5, count), 1.0, dice.uniform(count, low=0.4, high=2))
    SCENE.put(
        rows,
        mat_colour=mat,
        area_colour=area,
        tile_colour=dice.either(0.6, tile, dice.colour(count)),
        area_centre=dice.normal(count, 2),
        area_half=dice.uniform(count, low=0.8, high=6),
        round_area=dice.happens(0.4, count).float(),
        tile_size=tile_size,
        tiled=dice.happens(0.25, count).float(),
        seams=dice.happens(0.45, count).float(),
        grain_frequency=dice.uniform(count, low=2, high=45),
        grain=dice.uniform(count, high=0.45),
        mat_gloss=dice.switch(0.4, dice.uniform(count, high=0.35)),
        disc_centre=dice.normal(count, 2),
        disc_radius=dice.switch(0.35, dice.uniform(count, low=0.2, high=1.3)),
        disc_hole=dice.uniform(count, high=0.9),
        disc_colour=dice.colour(count, saturation=1.0),
    )


def _walls(dice: Dice, rows: Tensor, radius: Tensor, view_azimuth: Tensor) -> None:
    count = len(rows)
    shapes = torch.zeros(count, N_SHAPES, 8, device=dice.device)
    bearing = view_azimuth[:, None] + math.pi + 0.6 * dice.normal(count, N_SHAPES)
    wrapped = torch.remainder(bearing + math.pi, 2 * math.pi) - math.pi
    shapes[..., 0] = wrapped * radius[:, None]
    shapes[..., 1] = dice.uniform(count, N_SHAPES, low=-0.2, high=3.5)
    shapes[..., 2] = dice.switch(0.6, dice.uniform(count, N_SHAPES, low=0.05, high=1.0)) + 1e-4
    shapes[..., 3] = dice.uniform(count, N_SHAPES, low=0.08, high=1.3)
    shapes[..., 4] = dice.happens(0.5, count, N_SHAPES).float()
    shapes[..., 5:8] = dice.colour(count, N_SHAPES, saturation=1.0)
    dark = dice.happens(0.3, count)
    light = torch.where(
        dark, dice.uniform(count, low=0.0, high=0.35), dice.uniform(count, low=0.35, high=1.2)
    )
    black = dice.happens(0.06, count)
    SCENE.put(
        rows,
        wall_low=dice.colour(count),
        wall_high=dice.colour(count),
        wall_split_m=dice.uniform(count, high=2.2),
        wall_frequency=dice.uniform(count, low=0.5, high=14),
        wall_grain=dice.uniform(count, high=1.6),
        wall_light=torch.where(black, 0.0, light),
        crowd=dice.happens(0.45, count).float(),
        crowd_base_m=dice.uniform(count, low=-0.3, high=1.4),
        crowd_row_m=dice.uniform(count, low=0.4, high=1.0),
        crowd_saturation=dice.uniform(count, high=0.9),
        banner=dice.happens(0.45, count).float(),
        banner_base_m=dice.uniform(count, low=-0.1, high=1.2),
        banner_height_m=dice.uniform(count, low=0.25, high=1.1),
        banner_colour=dice.colour(count, saturation=1.0),
        letter_colour=dice.either(
            0.6, torch.full((count, 3), 0.9, device=dice.device), dice.colour(count)
        ),
        letter_width_m=dice.uniform(count, low=0.1, high=0.6),
        shapes=shapes.reshape(count, -1),
    )


def _covers(dice: Dice, rows: Tensor) -> None:
    count = len(rows)
    cover = torch.zeros(count, N_COVERS, 10, device=dice.device)
    turn = dice.uniform(count, N_COVERS, high=math.pi)
    cover[..., 0] = dice.happens(0.05, count, N_COVERS).float()
    cover[..., 1:3] = dice.uniform(count, N_COVERS, 2)
    cover[..., 3] = dice.uniform(count, N_COVERS, low=0.02, high=0.16)
    cover[..., 4] = dice.uniform(count, N_COVERS, low=0.03, high=0.28)
    cover[..., 5], cover[..., 6] = turn.cos(), turn.sin()
    cover[..., 7] = dice.happens(0.5, count, N_COVERS).float()
    cover[..., 8] = dice.uniform(count, N_COVERS, low=0.05, high=1.0)
    overlay = cover[:, 0]  # a caption or a mark in a corner, as broadcasts carry
    corner = dice.happens(0.08, count)
    across = dice.happens(0.5, count, 2).float()
    overlay[:, 0] = torch.where(corner, 1.0, overlay[:, 0])
    overlay[:, 1:3] = torch.where(corner[:, None], 0.08 + 0.84 * across, overlay[:, 1:3])
    overlay[:, 5] = torch.where(corner, 1.0, overlay[:, 5])
    overlay[:, 6] = torch.where(corner, 0.0, overlay[:, 6])
    overlay[:, 4] = torch.where(corner, overlay[:, 4] * 0.3, overlay[:, 4])
    overlay[:, 9] = torch.where(corner, dice.uniform(count, low=2, high=9), 0.0)
    SCENE.put(rows, covers=cover.reshape(count, -1))


def light_up(dice: Dice, count: int) -> Tensor:
    """Rows of :data:`corpus.layout.LIGHT`: from flat office light to one hard spot."""
    rows = LIGHT.rows(count, device=dice.device)
    key = torch.cat([dice.normal(count, 2), dice.uniform(count, 1, low=0.6, high=2.5)], 1)
    fill = torch.cat([dice.normal(count, 2), dice.uniform(count, 1, low=0.1, high=1.5)], 1)
    hard = dice.uniform(count)
    LIGHT.put(
        rows,
        key=functional.normalize(key, dim=-1),
        fill=functional.normalize(fill, dim=-1),
        ambient=dice.uniform(count, low=0.55, high=0.95) - 0.45 * hard,
        key_power=0.15 + 0.75 * hard,
        fill_power=dice.uniform(count, high=0.3),
        tint=dice.normal(count, 3),
        shadow=dice.uniform(count, low=0.3, high=1.0),
        occlusion=dice.uniform(count, low=0.3, high=1.0),
    )
    return rows


def lamps(lights: Tensor, centre_m: Tensor, reach_m: float = 1.7) -> Tensor:
    """Rows of :data:`corpus.layout.CAMERA` that look along the key light from twelve metres."""
    rows = CAMERA.rows(len(lights), device=lights.device)
    toward = lights[:, LIGHT.offset["key"] : LIGHT.offset["key"] + 3]
    distance_m = 12.0
    CAMERA.put(
        rows,
        turn=look_along(-toward).flatten(1),
        eye=centre_m + toward * distance_m,
        scale=torch.full(
            (len(lights), 2), LAMP_SIDE / 2 * distance_m / reach_m, device=rows.device
        ),
    )
    return rows


def look_along(forward: Tensor) -> Tensor:
    """Turn ``(n, 3, 3)`` of an upright camera that looks along unit vectors ``(n, 3)``."""
    up = torch.zeros_like(forward)
    up[..., 2] = 1
    right = functional.normalize(torch.linalg.cross(forward, up), dim=-1)
    return torch.stack([right, torch.linalg.cross(forward, right), forward], 1)
