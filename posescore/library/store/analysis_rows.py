"""Analyses in the database, and the files that belong to them."""

from __future__ import annotations

import json
import shutil
import zlib
from pathlib import Path
from typing import Any, Final

import numpy as np
from sqlalchemy import Connection, Row, func, insert, select

from posescore.errors import NotFoundError
from posescore.footage.atomic import replacing
from posescore.footage.clock import FrameClock
from posescore.holds.event import MatchEvent
from posescore.holds.hold import Hold
from posescore.library.analysis import Analysis
from posescore.library.store.damage import json_of, reading_row, text_of
from posescore.library.store.files import sha256_of
from posescore.library.store.match_rows import moment_of, now_text, touch_match
from posescore.library.store.plain import LARGEST_ID, from_plain, to_plain
from posescore.library.store.schema import ANALYSIS
from posescore.pose.track import Finding
from posescore.terms import Provenance

_HOLDS: Final = tuple[Hold, ...]
_EVENTS: Final = tuple[MatchEvent, ...]
_FINDINGS: Final = tuple[Finding, ...]


def keep_track(folder: Path, track: Path) -> Path:
    """Copy a track into the match's folder under a name that no other track has."""
    made: list[Path] = []

    def named(part: Path) -> str:
        made.append(folder / f"track-{sha256_of(part)[:16]}{part.suffix}")
        return made[0].name

    folder.mkdir(parents=True, exist_ok=True)
    target = folder / f"track{track.suffix or '.parquet'}"
    with track.open("rb") as source, replacing(target, named) as part, part.open("wb") as file:
        shutil.copyfileobj(source, file)
    return made[0]


def _text(value: Any, kind: Any) -> str:
    return json.dumps(to_plain(value, kind), allow_nan=False)


def insert_analysis(
    connection: Connection,
    match_id: int,
    analysis: Analysis,
    track: Path | None,
) -> int:
    """Add a row as the newest version of the match; its version."""
    newest = select(func.max(ANALYSIS.c.version)).where(ANALYSIS.c.match_id == match_id)
    version = int(connection.execute(newest).scalar() or 0) + 1
    connection.execute(
        insert(ANALYSIS).values(
            match_id=match_id,
            version=version,
            made_at=now_text(),
            rules=analysis.rules,
            clock=zlib.compress(np.ascontiguousarray(analysis.clock.pts_s, "<f8").tobytes()),
            end_s=analysis.clock.end_s,
            holds=_text(analysis.holds, _HOLDS),
            events=_text(analysis.events, _EVENTS),
            findings=_text(analysis.findings, _FINDINGS),
            provenance=json.dumps(analysis.provenance.to_json(), default=str),
            track_file=track.name if track else None,
            track_sha256=sha256_of(track) if track else "",
        )
    )
    touch_match(connection, match_id)
    return version


def newest_version(connection: Connection, match_id: int) -> int | None:
    """The newest analysis of a match; None before the first."""
    query = select(func.max(ANALYSIS.c.version)).where(ANALYSIS.c.match_id == match_id)
    found = connection.execute(query).scalar()
    with reading_row(match_id, "analysis"):
        return None if found is None else int(found)


def analysis_row(connection: Connection, match_id: int, version: int | None) -> Row[Any]:
    """The row of an analysis, by default the newest."""
    query = select(ANALYSIS).where(ANALYSIS.c.match_id == match_id)
    if version is not None:
        version = min(version, LARGEST_ID)
        query = query.where(ANALYSIS.c.version == version)
    row = connection.execute(query.order_by(ANALYSIS.c.version.desc()).limit(1)).one_or_none()
    if row is None:
        which = "has no analysis yet" if version is None else f"has no analysis {version}"
        raise NotFoundError(f"match {match_id} {which}: analyse its footage first.")
    return row


def analysis_of(row: Row[Any], folder: Path) -> Analysis:
    """The analysis that a row stands for."""
    with reading_row(row.match_id, "analysis"):
        pts_s = np.frombuffer(zlib.decompress(row.clock), "<f8").astype(np.float64)
        return Analysis(
            clock=FrameClock(pts_s, float(row.end_s)),
            holds=from_plain(_HOLDS, json_of(row.holds, "holds"), "holds"),
            events=from_plain(_EVENTS, json_of(row.events, "events"), "events"),
            findings=from_plain(_FINDINGS, json_of(row.findings, "findings"), "findings"),
            provenance=Provenance.from_json(json_of(row.provenance, "provenance")),
            rules=text_of(row.rules, "rules"),
            track_path=folder / _own_name(row.track_file) if row.track_file else None,
            version=int(row.version),
            track_sha256=text_of(row.track_sha256, "track_sha256"),
            made_at=moment_of(row.made_at),
        )


def _own_name(value: object) -> str:
    """The name of a file in the match's own folder, and no way out of it."""
    name = text_of(value, "track_file")
    if Path(name).name != name or "\0" in name:
        raise ValueError("track_file: names no file of the match's folder")
    return name
