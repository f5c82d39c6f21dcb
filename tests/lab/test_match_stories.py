"""The matches written for fitting and testing obey the published rules."""

from __future__ import annotations

import importlib.util
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

_MISSING = [name for name in ("torch", "scipy", "moderngl") if not importlib.util.find_spec(name)]
if _MISSING:
    pytest.skip(f"the extra 'lab' is absent: {_MISSING}", allow_module_level=True)

from posescore.lab.matches.choreography import CUES  # noqa: E402
from posescore.lab.matches.script import Plan  # noqa: E402
from posescore.lab.matches.stories import HELD_BACK, MATCHES  # noqa: E402
from posescore.lab.poses import ground_poses, match_keys  # noqa: E402
from posescore.scoring.engine import propose  # noqa: E402
from posescore.scoring.log import log_from_json  # noqa: E402

VALUES = {"takedown": 2, "sweep": 2, "knee_on_belly": 2, "guard_pass": 3, "mount": 4,
          "back_control": 4}  # fmt: skip
"""Points by kind: clause 2.5.2."""


@pytest.fixture(scope="module", params=sorted(MATCHES))
def plan(request: pytest.FixtureRequest) -> Plan:
    return MATCHES[request.param]()


def told(plan: Plan) -> dict[str, Any]:
    return plan.story.truth()


def test_states_tile_the_footage(plan: Plan) -> None:
    states = plan.story.states
    assert states[0].start_s == 0
    assert states[-1].end_s == plan.story.duration_s
    assert all(one.end_s == other.start_s for one, other in pairwise(states))
    assert all(one.start_s < one.end_s for one in states)
    assert all(cue.time_s <= other.time_s for cue, other in pairwise(plan.cues))
    assert 30 <= plan.story.duration_s <= 60
    assert plan.story.n_frames == round(plan.story.duration_s * plan.story.frames_per_s)


def test_the_engine_awards_what_the_story_says(plan: Plan) -> None:
    """The engine is checked against the rules elsewhere; here it reads the true holds."""
    truth = told(plan)
    log = log_from_json({key: truth[key] for key in ("rules", "division", "holds", "events")})
    ruling = propose(log.holds, log.events, log.rules, end_s=truth["duration_s"])
    given = sorted((p.time_s, str(p.athlete), str(p.kind), p.points)
                   for p in ruling.proposals if p.points)  # fmt: skip
    told_of = sorted((a["time_s"], a["athlete"], a["kind"], a["points"]) for a in truth["awards"])
    assert [row[1:] for row in given] == [row[1:] for row in told_of]
    assert np.allclose([row[0] for row in given], [row[0] for row in told_of], atol=1e-6)
    assert all(award["points"] == VALUES[award["kind"]] for award in truth["awards"])


def test_every_near_miss_is_explained_by_its_criterion(plan: Plan) -> None:
    truth = told(plan)
    log = log_from_json({key: truth[key] for key in ("rules", "division", "holds", "events")})
    ruling = propose(log.holds, log.events, log.rules, end_s=truth["duration_s"])
    for nothing in truth["nothings"]:
        answers = [
            criterion.check
            for p in ruling.proposals
            if p.athlete == nothing["athlete"]
            and p.would_be == nothing["would_be"]
            and p.evidence.start_s < nothing["end_s"]
            and p.evidence.end_s > nothing["start_s"]
            for criterion in p.criteria
            if criterion.met is False
        ]
        assert nothing["failed_criterion"] in answers, (plan.name, nothing)


def test_matches_differ_from_the_sample_match(plan: Plan) -> None:
    ours = {repr(cue.key) for cue in plan.cues}
    assert not ours & {repr(cue.key) for cue in CUES}
    assert len(plan.shots) == 2, "every match has a cut"
    assert all(shot.pans for shot in plan.shots)


def test_nothing_is_fitted_on_the_held_back_match() -> None:
    names = [MATCHES[name]().story.event_name for name in MATCHES]
    assert len(set(names)) == len(names)
    assert HELD_BACK in MATCHES


def test_mirroring_twice_changes_nothing() -> None:
    key = ground_poses.BACK_ONE_HOOK
    assert match_keys.mirrored(match_keys.mirrored(key)) == key
    assert match_keys.mirrored(key).upper.knees[0] == (
        key.upper.knees[1][0], -key.upper.knees[1][1], key.upper.knees[1][2],
    )  # fmt: skip
