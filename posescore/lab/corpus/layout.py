"""Where each look stands in the rows that the drawing kernels read.

Python fills rows of numbers by name; the kernels read them through ``#define`` lines made from
the same tables, so the two can't disagree.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import torch
from torch import Tensor


@dataclass(frozen=True, slots=True)
class Layout:
    """Named fields of one row of floats."""

    prefix: str
    offset: Mapping[str, int]
    width: Mapping[str, int]
    size: int

    @classmethod
    def of(cls, prefix: str, fields: Mapping[str, int]) -> Layout:
        """A layout of fields in order, each so many floats wide."""
        offset, total = {}, 0
        for name, width in fields.items():
            offset[name] = total
            total += width
        return cls(prefix, offset, dict(fields), total)

    def rows(self, *shape: int, device: torch.device) -> Tensor:
        """Empty rows ``(*shape, size)``."""
        return torch.zeros(*shape, self.size, device=device)

    def put(self, rows: Tensor, **values: Tensor | float) -> None:
        """Write fields into rows; a field of width one takes ``(*shape,)``."""
        for name, value in values.items():
            start, width = self.offset[name], self.width[name]
            if isinstance(value, Tensor) and width > 1:
                rows[..., start : start + width] = value
            else:
                rows[..., start] = value

    def defines(self) -> str:
        """The fields as C preprocessor lines."""
        lines = [f"#define {self.prefix}_{n.upper()} {o}" for n, o in self.offset.items()]
        return "\n".join([*lines, f"#define {self.prefix}_SIZE {self.size}"]) + "\n"


N_SHAPES: Final = 14
N_COVERS: Final = 3
N_PATCHES: Final = 4

BODY: Final = Layout.of(
    "BODY",
    {
        "top_colour": 3, "bottom_colour": 3, "skin_colour": 3, "hair_colour": 3,
        "second_colour": 3, "belt_colour": 3, "shoe_colour": 3, "top_cloth": 1, "sleeve_end": 1,
        "leg_end": 1, "singlet": 1, "waist_z": 1, "belt_half": 1, "skirt_along": 1, "lapel": 1,
        "pattern": 1, "pattern_x": 1, "pattern_z": 1, "pattern_threshold": 1, "weave": 1,
        "weave_frequency": 1, "fold": 1, "fold_frequency": 1, "gloss": 1, "hairline_z": 1,
        "hair_front_y": 1, "fringe": 1, "hair_volume": 1, "beard": 1, "headgear": 1, "shoes": 1,
        "looseness": 9, "loose_frequency": 1, "flare": 1, "skirt_flare": 1,
        "patches": 8 * N_PATCHES, "seed": 1,
    },
)  # fmt: skip
"""The look of one body."""

SCENE: Final = Layout.of(
    "SCENE",
    {
        "seed": 1, "hall_radius": 1, "mat_turn": 2, "mat_colour": 3, "area_colour": 3,
        "tile_colour": 3, "area_centre": 2, "area_half": 1, "round_area": 1, "tile_size": 1,
        "tiled": 1, "seams": 1, "grain_frequency": 1, "grain": 1, "mat_gloss": 1,
        "disc_centre": 2, "disc_radius": 1, "disc_hole": 1, "disc_colour": 3, "wall_low": 3,
        "wall_high": 3, "wall_split_m": 1, "wall_frequency": 1, "wall_grain": 1, "wall_light": 1,
        "crowd": 1, "crowd_base_m": 1, "crowd_row_m": 1, "crowd_saturation": 1, "banner": 1,
        "banner_base_m": 1, "banner_height_m": 1, "banner_colour": 3, "letter_colour": 3,
        "letter_width_m": 1, "shapes": 8 * N_SHAPES, "covers": 10 * N_COVERS, "mirror": 1,
    },
)  # fmt: skip
"""Floor, walls, crowd, and what covers parts of the picture."""

LIGHT: Final = Layout.of(
    "LIGHT",
    {
        "key": 3, "fill": 3, "ambient": 1, "key_power": 1, "fill_power": 1, "tint": 3,
        "shadow": 1, "occlusion": 1,
    },
)  # fmt: skip

CAMERA: Final = Layout.of(
    "CAMERA", {"turn": 9, "eye": 3, "centre": 2, "scale": 2, "floor_z": 1, "unused": 3}
)
"""World to picture: rows of the turn are right, down and forward; scale in pixels per tangent."""


def all_defines() -> str:
    """Everything that the kernels need to know."""
    counts = {"N_SHAPES": N_SHAPES, "N_COVERS": N_COVERS, "N_PATCHES": N_PATCHES}
    lines = "".join(f"#define {name} {value}\n" for name, value in counts.items())
    return lines + "".join(layout.defines() for layout in (BODY, SCENE, LIGHT, CAMERA))
