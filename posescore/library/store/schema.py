"""Tables of the library's database, and the migrations that lead to them.

A migration, once released, is never edited: a new one is added at the end of
:data:`MIGRATIONS`. Each runs in one transaction together with its record.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from sqlalchemy import Connection, TableClause, column, inspect, table, text

from posescore import __version__
from posescore.errors import StorageError

FILE_NAME: Final = "library.sqlite3"
"""The database of a library, in its folder."""


def _table(name: str, columns: str) -> TableClause:
    return table(name, *map(column, columns.split()))


MATCH: Final = _table("match", "id info search footage_sha256 added_at changed_at")
ANALYSIS: Final = _table(
    "analysis",
    "match_id version made_at rules clock end_s holds events findings provenance track_file "
    "track_sha256",
)
ENTRY: Final = _table(
    "entry",
    "id match_id opinion author made_at kind payload undoes redoes analysis_version",
)
JOB: Final = _table(
    "job",
    "id match_id state progress started_progress stage message settings created_at started_at "
    "changed_at",
)
STANDING: Final = _table("standing", "match_id basis content")
MOMENT: Final = _table("moment", "id match_id start_s end_s sets remark author made_at")
TABLES: Final = (MATCH, ANALYSIS, ENTRY, JOB, STANDING, MOMENT)


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
_JOBS_OF_ANY_KIND: Final = Migration(
    "jobs that need no match beside them; no probabilities, which nobody read",
    (
        "DROP INDEX one_open_job_of_a_match",
        "ALTER TABLE job RENAME TO job_before",
        """CREATE TABLE job (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            match_id INTEGER NOT NULL,
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
        """INSERT INTO job SELECT id, match_id, state, progress, started_progress, stage, message,
            settings, created_at, started_at, changed_at FROM job_before""",
        "DROP TABLE job_before",
        "ALTER TABLE analysis DROP COLUMN probabilities_file",
    ),
)
_RESULTS: Final = Migration(
    "results and official scores in the log; what stands is counted anew, up to the end",
    ("DELETE FROM standing",),
)
_MOMENTS_AND_TEAMS: Final = Migration(
    "moments that people keep; teams of athletes, which an older program would lose",
    (
        """CREATE TABLE moment (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            match_id INTEGER NOT NULL REFERENCES match (id) ON DELETE CASCADE,
            start_s REAL NOT NULL,
            end_s REAL NOT NULL,
            sets TEXT NOT NULL,
            remark TEXT NOT NULL,
            author TEXT NOT NULL,
            made_at TEXT NOT NULL
        )""",
        "CREATE INDEX moments_of_a_match ON moment (match_id)",
    ),
)
MIGRATIONS: Final = (
    _MATCHES_AND_LOG, _OPINIONS_AND_JOBS, _STANDINGS, _JOBS_OF_ANY_KIND, _RESULTS,
    _MOMENTS_AND_TEAMS,
)  # fmt: skip
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
    kept = connection.execute(text("SELECT max(version) FROM migration")).scalar()
    if not isinstance(kept or 0, int):
        raise StorageError(f"{name} is damaged (migration: no version): restore a copy of it.")
    version = int(kept or 0)
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
