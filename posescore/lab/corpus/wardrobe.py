"""What rendered people wear: gi and no-gi, singlets, street clothes; hair, beards, skin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import torch
from torch import Tensor

from posescore.lab.corpus.dice import Dice
from posescore.lab.corpus.layout import BODY, N_PATCHES
from posescore.terms import KEYPOINT_INDEX

_GI: Final = (
    (0.93, 0.93, 0.9), (0.88, 0.88, 0.88), (0.8, 0.82, 0.86), (0.1, 0.2, 0.55), (0.12, 0.25, 0.7),
    (0.08, 0.12, 0.32), (0.05, 0.05, 0.06), (0.1, 0.1, 0.12), (0.3, 0.3, 0.32),
)  # fmt: skip
_SPORT: Final = (
    (0.75, 0.06, 0.08), (0.6, 0.05, 0.1), (0.08, 0.15, 0.6), (0.1, 0.3, 0.75), (0.05, 0.1, 0.3),
    (0.03, 0.03, 0.04), (0.85, 0.85, 0.85), (0.05, 0.35, 0.2),
)  # fmt: skip
_BELT: Final = (
    (0.95, 0.95, 0.95), (0.1, 0.2, 0.7), (0.4, 0.15, 0.5), (0.3, 0.18, 0.08), (0.03, 0.03, 0.03),
    (0.8, 0.1, 0.1), (0.85, 0.75, 0.1), (0.1, 0.4, 0.15),
)  # fmt: skip
_SKIN: Final = (
    (0.92, 0.75, 0.65), (0.9, 0.7, 0.58), (0.85, 0.63, 0.5), (0.75, 0.53, 0.4), (0.6, 0.4, 0.28),
    (0.42, 0.27, 0.18), (0.28, 0.17, 0.11), (0.2, 0.12, 0.08),
)  # fmt: skip
_HAIR: Final = (
    (0.03, 0.025, 0.025), (0.05, 0.04, 0.03), (0.1, 0.07, 0.05), (0.25, 0.15, 0.08),
    (0.55, 0.42, 0.22), (0.45, 0.45, 0.45), (0.35, 0.12, 0.06),
)  # fmt: skip
_DARK: Final = ((0.03, 0.03, 0.04), (0.1, 0.1, 0.12), (0.08, 0.1, 0.2), (0.5, 0.5, 0.52))


@dataclass(frozen=True, slots=True)
class BodyMarks:
    """Spots on the first body at rest that looks are measured from, in metres."""

    hip_z_m: float
    eye_z_m: float
    eye_y_m: float

    @classmethod
    def of(cls, rest_keypoints_m: Tensor) -> BodyMarks:
        """From keypoints ``(21, 3)`` of the first body at rest."""
        hip = rest_keypoints_m[KEYPOINT_INDEX["left_hip"]]
        eye = rest_keypoints_m[KEYPOINT_INDEX["left_eye"]]
        return cls(float(hip[2]), float(eye[2]), float(eye[1]))


def dress(dice: Dice, count: int, bodies: int, marks: BodyMarks) -> Tensor:
    """Rows of :data:`corpus.layout.BODY`, ``(count, bodies, size)``; bodies 0 and 1 compete.

    Both athletes mostly wear the same kind (gi, no-gi or singlet), often in different colours, as
    in a match; the others wear anything, shirts and trousers above all.
    """
    shape = (count, bodies)
    kind = dice.uniform(*shape)
    kind[:, 1] = torch.where(dice.happens(0.88, count), kind[:, 0], kind[:, 1])
    kind[:, 2:] = torch.where(dice.happens(0.3, count, bodies - 2), kind[:, 2:], 2.0)
    gi, singlet = kind < 0.55, (kind >= 0.55) & (kind < 0.73)
    street = kind > 1.5
    rows = BODY.rows(*shape, device=dice.device)
    skin = dice.palette(_SKIN, *shape, spread=0.035)
    _colours(dice, rows, gi, singlet, street, skin)
    _cut(dice, rows, gi, singlet, street, marks)
    _head(dice, rows, marks)
    _surface(dice, rows, gi)
    _patches(dice, rows, gi, marks)
    return rows


def _colours(
    dice: Dice, rows: Tensor, gi: Tensor, singlet: Tensor, street: Tensor, skin: Tensor
) -> None:
    shape = gi.shape
    suit = dice.either(0.9, dice.palette(_GI, *shape, spread=0.035), dice.colour(*shape))
    sport = dice.either(0.6, dice.palette(_SPORT, *shape), dice.colour(*shape, saturation=1.0))
    top = torch.where(gi[..., None], suit, sport)
    top[:, 1] = dice.either(0.22, top[:, 0], top[:, 1])
    shorts = dice.either(0.6, dice.palette(_DARK, *shape), dice.colour(*shape, saturation=1.0))
    bottom = torch.where(gi[..., None], dice.either(0.85, top, suit.flip(1)), shorts)
    bottom = torch.where(singlet[..., None], top, bottom)
    bare = ~gi & ~singlet & ~street & dice.happens(0.3, *shape)
    BODY.put(
        rows,
        top_colour=torch.where(bare[..., None], skin, top),
        bottom_colour=bottom,
        skin_colour=skin,
        hair_colour=dice.palette(_HAIR, *shape, spread=0.02),
        second_colour=dice.either(
            0.35, dice.palette(_SPORT, *shape), dice.colour(*shape, saturation=1.0)
        ),
        belt_colour=dice.palette(_BELT, *shape, spread=0.03),
        shoe_colour=dice.either(0.5, dice.palette(_SPORT, *shape), dice.colour(*shape)),
        top_cloth=(~bare).float(),
        singlet=singlet.float(),
    )


def _cut(
    dice: Dice, rows: Tensor, gi: Tensor, singlet: Tensor, street: Tensor, marks: BodyMarks
) -> None:
    shape = gi.shape
    long_sleeve = dice.uniform(*shape, low=0.75, high=1.03)
    sleeve = torch.where(
        dice.happens(0.5, *shape), dice.uniform(*shape, low=0.2, high=0.5), long_sleeve
    )
    leg = torch.where(
        dice.happens(0.6, *shape),
        dice.uniform(*shape, low=0.25, high=0.6),
        dice.uniform(*shape, low=0.85, high=1.02),
    )
    long_leg = dice.uniform(*shape, low=0.72, high=1.0)
    leg = torch.where(gi, long_leg, leg)
    leg = torch.where(street, dice.uniform(*shape, low=0.9, high=1.03), leg)
    leg = torch.where(singlet, dice.uniform(*shape, low=0.3, high=0.48), leg)
    belted = torch.where(gi, dice.uniform(*shape, low=0.014, high=0.03), 0.0)
    shoes = street | (singlet & dice.happens(0.93, *shape)) | dice.happens(0.03, *shape)
    loose = torch.zeros(*shape, 9, device=dice.device)
    amount = torch.where(gi, dice.uniform(*shape, low=0.004, high=0.034), 0.004)
    amount = torch.where(street, dice.uniform(*shape, low=0.002, high=0.02), amount)
    for part, share in ((0, 1.0), (1, 1.0), (2, 1.2), (4, 1.1), (5, 1.3)):
        loose[..., part] = amount * share * dice.uniform(*shape, low=0.5, high=1.3)
    BODY.put(
        rows,
        sleeve_end=torch.where(gi, long_sleeve, sleeve),
        leg_end=leg,
        waist_z=marks.hip_z_m + dice.uniform(*shape, low=0.03, high=0.14),
        belt_half=dice.switch(0.93, belted),
        skirt_along=torch.where(gi, dice.uniform(*shape, low=0.02, high=0.3), -1.0),
        lapel=torch.where(gi, dice.switch(0.9, torch.ones(shape, device=dice.device)), 0.0),
        looseness=loose,
        loose_frequency=dice.uniform(*shape, low=3, high=15),
        flare=torch.where(gi, dice.uniform(*shape, high=0.035), 0.0),
        skirt_flare=torch.where(gi, dice.uniform(*shape, high=0.45), 0.0),
        shoes=shoes.float(),
        headgear=dice.switch(0.3, singlet.float()),
    )


def _head(dice: Dice, rows: Tensor, marks: BodyMarks) -> None:
    shape = rows.shape[:2]
    hairline = marks.eye_z_m + dice.uniform(*shape, low=-0.03, high=0.06)
    long_hair = dice.happens(0.15, *shape)
    hairline = torch.where(
        long_hair, marks.eye_z_m - dice.uniform(*shape, low=0.03, high=0.14), hairline
    )
    volume = dice.uniform(*shape, high=0.022) + torch.where(long_hair, 0.012, 0.0)
    front = marks.eye_y_m + dice.uniform(*shape, low=0.03, high=0.08)
    BODY.put(
        rows,
        hairline_z=torch.where(dice.happens(0.1, *shape), 9.0, hairline),
        hair_front_y=front,
        fringe=dice.uniform(*shape, high=0.06) + torch.where(long_hair, 0.12, 0.0),
        hair_volume=volume,
        beard=dice.happens(0.22, *shape).float(),
    )


def _surface(dice: Dice, rows: Tensor, gi: Tensor) -> None:
    shape = gi.shape
    patterned = dice.happens(torch.where(gi, 0.12, 0.6), *shape)
    pattern = torch.where(patterned, 1.0 + dice.integers(5, *shape), 0.0)
    fold = torch.where(
        gi, dice.uniform(*shape, low=0.15, high=1.0), dice.uniform(*shape, high=0.35)
    )
    BODY.put(
        rows,
        pattern=pattern,
        pattern_x=dice.uniform(*shape, high=10),
        pattern_z=2 + dice.switch(0.8, dice.uniform(*shape, low=2, high=14)),
        pattern_threshold=dice.uniform(*shape, low=-0.2, high=0.9),
        weave=dice.uniform(*shape, high=0.3),
        weave_frequency=dice.uniform(*shape, low=4, high=40),
        fold=fold,
        fold_frequency=dice.uniform(*shape, low=6, high=22),
        gloss=torch.where(gi, 0.02, dice.uniform(*shape, high=0.35)),
        seed=dice.uniform(*shape),
    )


def _patches(dice: Dice, rows: Tensor, gi: Tensor, marks: BodyMarks) -> None:
    shape = (*gi.shape, N_PATCHES)
    patch = torch.zeros(*shape, 8, device=dice.device)
    patch[..., 0] = 0.09 * dice.normal(*shape)
    patch[..., 1] = marks.hip_z_m + dice.uniform(*shape, low=-0.35, high=0.5)
    patch[..., 2] = dice.uniform(*shape, low=0.03, high=0.16)
    patch[..., 3] = dice.uniform(*shape, low=0.015, high=0.1)
    patch[..., 4] = dice.happens(0.55, *shape).float()
    patch[..., 5] = dice.switch(0.75, dice.uniform(*shape, low=2, high=8))
    patch[..., 6] = dice.happens(0.4, *shape).float() * 0.9 + 0.03
    patch[..., 7] = dice.happens(torch.where(gi, 0.28, 0.22)[..., None], *shape).float()
    back = patch[..., 0, :]  # now and then one large panel across the back, as at big events
    back[..., 0], back[..., 1] = 0.0, marks.hip_z_m + 0.33
    back[..., 2], back[..., 3], back[..., 4] = 0.15, 0.085, 1.0
    BODY.put(rows, patches=patch.reshape(*gi.shape, 8 * N_PATCHES))
