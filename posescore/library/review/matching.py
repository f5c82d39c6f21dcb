"""Which recomputed proposal is the one a person decided on, and what the page calls it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from posescore.scoring.proposal import Proposal, ProposalKind

NEAR_S: Final = 2.0
"""Proposals whose evidence does not overlap are still the same within this many seconds."""


def topic(proposal: Proposal) -> ProposalKind:
    """What a proposal is about: the award it is, nearly was, or was none of."""
    return proposal.would_be or proposal.kind


def proposal_key(proposal: Proposal) -> str:
    """Key of a proposal: topic, athlete and the millisecond of its instant."""
    athlete = f"-{proposal.athlete}" if proposal.athlete else ""
    return f"{topic(proposal)}{athlete}-{proposal.time_s * 1000:.0f}"


def paired(wanted: Mapping[str, Proposal], proposals: Sequence[Proposal]) -> dict[int, str]:
    """Find remembered proposals among recomputed ones, each at most once.

    Parameters
    ----------
    wanted
        Remembered proposals by key.
    proposals
        The recomputed ones.

    Returns
    -------
    dict of int to str
        Key by index into ``proposals``. Only proposals of the same athlete and topic are paired,
        with overlapping evidence or within :data:`NEAR_S`; the same kind is preferred, then
        overlap, then nearness.
    """
    by_subject: dict[tuple[object, ...], list[int]] = {}
    for index, proposal in enumerate(proposals):
        by_subject.setdefault((proposal.athlete, topic(proposal)), []).append(index)
    candidates = []
    for key, before in wanted.items():
        for index in by_subject.get((before.athlete, topic(before)), ()):
            now = proposals[index]
            apart_s = abs(now.time_s - before.time_s)
            overlaps = now.evidence.overlap_s(before.evidence) > 0
            if overlaps or apart_s <= NEAR_S:
                candidates.append((now.kind is not before.kind, not overlaps, apart_s, index, key))
    found: dict[int, str] = {}
    for *_, index, key in sorted(candidates):
        if index not in found and key not in found.values():
            found[index] = key
    return found


def keys_of(
    proposals: Sequence[Proposal], remembered: Mapping[str, Proposal], taken: Iterable[str] = ()
) -> list[str]:
    """A key for every proposal: the remembered one where there is one, else a new one.

    ``taken`` are keys that something else holds.
    """
    found = paired(remembered, proposals)
    used = {*taken, *found.values()}
    keys = []
    for index, proposal in enumerate(proposals):
        key = found.get(index) or unused(proposal_key(proposal), used)
        used.add(key)
        keys.append(key)
    return keys


def unused(key: str, used: Iterable[str]) -> str:
    """The key, or the key with the first number that makes it new."""
    taken = set(used)
    if key not in taken:
        return key
    number = 2
    while f"{key}.{number}" in taken:
        number += 1
    return f"{key}.{number}"
