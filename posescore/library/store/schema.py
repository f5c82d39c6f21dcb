"""Tables of the library's database, and the migrations that lead to them.

A migration, once released, is never edited: a new one is added at the end of
:data:`MIGRATIONS`. Each runs in one transaction together with its record.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from sqlalchemy import (
    Column,
    Connection,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    inspect,
    text,
)

from posescore import __version__
from posescore.errors import StorageError

METADATA: Final = MetaData()

MATCH: Final = Table(
    "match",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("info", String, nullable=False),
    Column("search", String, nullable=False),
    Column("footage_sha256", String),
    Column("added_at", String, nullable=False),
    Column("changed_at", String, nullable=False),
)
ANALYSIS: Final = Table(
    "analysis",
    METADATA,
    Column("match_id", ForeignKey("match.id", ondelete="CASCADE"), primary_key=True),
    Column("version", Integer, primary_key=True),
    Column("made_at", String, nullable=False),
    Column("rules", String, nullable=False),
    Column("clock", LargeBinary, nullable=False),
    Column("end_s", Float, nullable=False),
    Column("holds", String, nullable=False),
    Column("events", String, nullable=False),
    Column("findings", String, nullable=False),
    Column("provenance", String, nullable=False),
    Column("track_file", String),
    Column("track_sha256", String, nullable=False),
    Column("probabilities_file", String),
)
ENTRY: Final = Table(
    "entry",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("match_id", ForeignKey("match.id", ondelete="CASCADE"), nullable=False),
    Column("opinion", String, nullable=False),
    Column("author", String, nullable=False),
    Column("made_at", String, nullable=False),
    Column("kind", String, nullable=False),
    Column("payload", String, nullable=False),
    Column("undoes", ForeignKey("entry.id")),
    Column("redoes", ForeignKey("entry.id")),
    Column("analysis_version", Integer, nullable=False),
)
JOB: Final = Table(
    "job",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("match_id", ForeignKey("match.id", ondelete="CASCADE"), nullable=False),
    Column("state", String, nullable=False),
    Column("progress", Float, nullable=False),
    Column("started_progress", Float, nullable=False),
    Column("stage", String, nullable=False),
    Column("message", String, nullable=False),
    Column("settings", String, nullable=False),
    Column("created_at", String, nullable=False),
    Column("started_at", String),
    Column("changed_at", String, nullable=False),
)
STANDING: Final = Table(
    "standing",
    METADATA,
    Column("match_id", ForeignKey("match.id", ondelete="CASCADE"), primary_key=True),
    Column("basis", String, nullable=False),
    Column("content", String, nullable=False),
)


@dataclass(frozen=True, slots=True)
class Migration:
    """One step of the schema: what it is for, and its statements in order."""

    title: str
    statements: tuple[str, ...]


_MATCHES_AND_LOG: Final = Migration(
    "matches, analyses and the log of what people did",
    (
        """CREATE TABLE match (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            info TEXT NOT NULL,
            search TEXT NOT NULL,
            footage_sha256 TEXT,
            added_at TEXT NOT NULL,
            changed_at TEXT NOT NULL
        )""",
        "CREATE INDEX match_by_footage ON match (footage_sha256)",
        """CREATE TABLE analysis (
            match_id INTEGER NOT NULL REFERENCES match (id) ON DELETE CASCADE,
            version INTEGER NOT NULL CHECK (version >= 1),
            made_at TEXT NOT NULL,
            rules TEXT NOT NULL,
            clock BLOB NOT NULL,
            end_s REAL NOT NULL,
            holds TEXT NOT NULL,
            events TEXT NOT NULL,
            findings TEXT NOT NULL,
            provenance TEXT NOT NULL,
            track_file TEXT,
            track_sha256 TEXT NOT NULL,
            probabilities_file TEXT,
            PRIMARY KEY (match_id, version)
        )""",
        """CREATE TABLE entry (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            match_id INTEGER NOT NULL REFERENCES match (id) ON DELETE CASCADE,
            author TEXT NOT NULL,
            made_at TEXT NOT NULL,
            kind TEXT NOT NULL,
            payload TEXT NOT NULL,
            undoes INTEGER REFERENCES entry (id),
            redoes INTEGER REFERENCES entry (id),
            analysis_version INTEGER NOT NULL,
            CHECK ((kind = 'undo') = (undoes IS NOT NULL)),
            CHECK ((kind = 'redo') = (redoes IS NOT NULL))
        )""",
        "CREATE INDEX entry_of_match ON entry (match_id, id)",
        """CREATE TRIGGER entry_never_changes BEFORE UPDATE ON entry
            BEGIN SELECT RAISE(ABORT, 'entries of the log are never changed'); END""",
    ),
)
_OPINIONS_AND_JOBS: Final = Migration(
    "second opinions, and analyses that outlive a restart",
    (
        "ALTER TABLE entry ADD COLUMN opinion TEXT NOT NULL DEFAULT ''",
        """CREATE TABLE job (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            match_id INTEGER NOT NULL REFERENCES match (id) ON DELETE CASCADE,
            state TEXT NOT NULL,
            progress REAL NOT NULL,
            started_progress REAL NOT NULL,
            stage TEXT NOT NULL,
            message TEXT NOT NULL,
            settings TEXT NOT NULL,
            created_at TEXT NOT NULL,
            started_at TEXT,
            changed_at TEXT NOT NULL
        )""",
        """CREATE UNIQUE INDEX one_open_job_of_a_match ON job (match_id)
            WHERE state IN ('queued', 'running')""",
    ),
)
_STANDINGS: Final = Migration(
    "what stands in every match, so that a long list is quick",
    (
        """CREATE TABLE standing (
            match_id INTEGER PRIMARY KEY REFERENCES match (id) ON DELETE CASCADE,
            basis TEXT NOT NULL,
            content TEXT NOT NULL
        )""",
    ),
)
MIGRATIONS: Final = (_MATCHES_AND_LOG, _OPINIONS_AND_JOBS, _STANDINGS)
VERSION: Final = len(MIGRATIONS)

_RECORD: Final = """CREATE TABLE IF NOT EXISTS migration (
    version INTEGER PRIMARY KEY, title TEXT NOT NULL, applied_at TEXT NOT NULL,
    program_version TEXT NOT NULL
)"""


def version_of(connection: Connection, name: str) -> int:
    """Schema version of a database; 0 for an empty one.

    Raises
    ------
    StorageError
        When it is another program's database, or newer than this program.
    """
    tables = set(inspect(connection).get_table_names()) - {"sqlite_sequence"}
    if not tables:
        return 0
    if "migration" not in tables:
        raise StorageError(f"{name} is a database of something else: choose another folder.")
    version = int(connection.execute(text("SELECT max(version) FROM migration")).scalar() or 0)
    if version > VERSION:
        raise StorageError(
            f"{name} was written by a newer PoseScore (library version {version}, this program "
            f"knows {VERSION}): install the newer program."
        )
    return version


def migrate_one(connection: Connection, name: str, migrations: tuple[Migration, ...]) -> bool:
    """Apply the next migration inside the connection's transaction; False when up to date."""
    version = version_of(connection, name)
    if version >= len(migrations):
        return False
    migration = migrations[version]
    connection.execute(text(_RECORD))
    for statement in migration.statements:
        connection.exec_driver_sql(statement)
    connection.execute(
        text("INSERT INTO migration VALUES (:version, :title, :applied_at, :program_version)"),
        {
            "version": version + 1,
            "title": migration.title,
            "applied_at": datetime.now(UTC).isoformat(),
            "program_version": __version__,
        },
    )
    return True
