"""What was seen of a criterion, in plain words with numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from posescore.holds.hold import CheckName

_SEEN: Final[Mapping[tuple[CheckName, bool | int | str], str]] = {
    (CheckName.OTHER_KNEE_DOWN, True): "the other knee is on the mat",
    (CheckName.OTHER_KNEE_DOWN, False): "the other knee is off the mat",
    (CheckName.SHIN, "hip_side"): "the knee nearer the opponent's hip is on the torso",
    (CheckName.SHIN, "head_side"): "the knee nearer the opponent's head is on the torso",
    (CheckName.HOOKS, 0): "neither heel is inside the opponent's thighs",
    (CheckName.HOOKS, 1): "one heel only is inside the opponent's thighs",
    (CheckName.HOOKS, 2): "both heels are inside the opponent's thighs",
    (CheckName.FEET_CROSSED, True): "the feet are crossed, or one locks behind the other knee",
    (CheckName.FEET_CROSSED, False): "the feet are apart",
    (CheckName.ARMS_TRAPPED, 0): "no arm is under the legs",
    (CheckName.ARMS_TRAPPED, 1): "one arm is under a leg",
    (CheckName.ARMS_TRAPPED, 2): "both arms are under the legs",
    (CheckName.ARM_ABOVE_SHOULDER_LINE, True): "the arm under the leg is above the shoulder line",
    (CheckName.ARM_ABOVE_SHOULDER_LINE, False): "the arm under the leg is below the shoulder line",
    (CheckName.FACING, "head"): "the upper athlete faces the head",
    (CheckName.FACING, "feet"): "the upper athlete faces the feet",
    (CheckName.KNEES_DOWN, 0): "neither knee of the upper athlete is on the mat",
    (CheckName.KNEES_DOWN, 1): "one knee of the upper athlete is on the mat",
    (CheckName.KNEES_DOWN, 2): "both knees of the upper athlete are on the mat",
    (CheckName.KNEE_OF_OPPONENT_DOWN, True): "a knee of the lower athlete is on the mat",
    (CheckName.KNEE_OF_OPPONENT_DOWN, False): "both knees of the lower athlete are off the mat",
    (CheckName.BEHIND_SHOULDER_LINE, True): "control is from behind the opponent's shoulder line",
    (CheckName.BEHIND_SHOULDER_LINE, False): "control is from in front of the shoulder line",
}
_DOUBTFUL: Final = 0.7
_HARDLY: Final = 0.3
_HALF: Final = 0.5


def in_words(
    name: CheckName, value: bool | int | str, share: float, sure: float, visible: float
) -> str:
    """One clause for a person.

    Parameters
    ----------
    name, value
        The check.
    share
        Share of the seen instants that show the value.
    sure
        Probability of the value.
    visible
        Share of the instants in which both athletes were seen.
    """
    clause = _SEEN[(name, value)]
    if visible < _HARDLY:
        return f"{clause}: what is usual, for both athletes are seen {visible:.0%} of the time"
    if share >= _HALF:
        clause = f"{clause} (seen so {share:.0%} of the time)"
    else:
        clause = f"{clause}, though most single instants look otherwise"
    return clause if sure >= _DOUBTFUL else f"{clause}; this view hardly shows it"
