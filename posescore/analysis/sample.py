"""The match that the program ships with."""

from __future__ import annotations

import json
from pathlib import Path

from posescore.library.match import AthleteInfo, MatchInfo
from posescore.resources import shipped


def sample_match() -> tuple[Path, MatchInfo]:
    """The shipped sample match, with the invented names of its athletes."""
    told = json.loads(shipped("sample_video", "truth.json").read_text("utf-8"))
    a, b = (
        AthleteInfo(who["name"], who["gi"], who["belt"])
        for who in (told["athletes"][slot] for slot in "AB")
    )
    info = MatchInfo(
        title=f"{a.name} and {b.name}",
        athlete_a=a,
        athlete_b=b,
        event=told["event_name"],
        division=told["division"],
        rules=told["rules"],
    )
    return shipped("sample_video", "match.mp4"), info
