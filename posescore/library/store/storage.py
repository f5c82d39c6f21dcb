"""The database of a library: opened, migrated, and its failures put into one sentence."""

from __future__ import annotations

import errno
import os
import sqlite3
import threading
import time
import weakref
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Final

import platformdirs
from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from posescore.errors import StorageError
from posescore.library.store.backups import refuse_lost
from posescore.library.store.copies import Copies
from posescore.library.store.damage import DamagedRowError
from posescore.library.store.schema import FILE_NAME, MIGRATIONS, Migration, migrate_one

ENVIRONMENT: Final = "POSESCORE_LIBRARY"
BUSY_TIMEOUT_S: Final = 20.0
"""How long a writer waits for another: far longer than any edit takes."""


def library_folder(folder: Path | None = None) -> Path:
    """The folder asked for, else the environment's, else the user's data folder."""
    if folder is not None:
        return folder.expanduser().absolute()
    chosen = os.environ.get(ENVIRONMENT, "").strip()
    if chosen:
        return Path(chosen).expanduser().absolute()
    return platformdirs.user_data_path("posescore", appauthor=False)


class Storage:
    """Connections to the database of one folder.

    Every ``write`` is one transaction that holds SQLite's write lock from its first statement
    and is on the disk when it ends (write-ahead log, ``synchronous=FULL``).

    Parameters
    ----------
    folder
        Where the database lies.
    read_only
        Only look. A folder that cannot be written is only looked at in any case. SQLite wants to
        write beside a database even to read it, so a copy in a passing folder is opened, and made
        anew once others have written.
    repairing
        Begin a new database though folders of matches lie there.
    """

    def __init__(
        self,
        folder: Path,
        migrations: tuple[Migration, ...] = MIGRATIONS,
        read_only: bool = False,
        repairing: bool = False,
    ) -> None:
        self.folder = folder
        self.path = folder / FILE_NAME
        self.read_only = ""
        """Why nothing can be kept, in one sentence; empty where everything can."""
        self._migrations = migrations
        self._copies: Copies | None = None
        self._renewing = threading.Lock()
        with sentences(self.path):
            opened = self.path
            if self.path.is_file() and (read_only or not _can_be_written(self.path)):
                self._copies = Copies(self.path)
                opened = self._copies.newest()
                self.read_only = (
                    "This library can only be looked at, nothing can be changed: copy its folder "
                    "to one of your own to edit it."
                )
            else:
                if not repairing and not (self.path.is_file() and self.path.stat().st_size):
                    refuse_lost(self.path)
                folder.mkdir(parents=True, exist_ok=True)
            self._engine = self._opened(opened)

    def _opened(self, path: Path) -> Engine:
        engine = _engine(path)
        weakref.finalize(self, engine.dispose)  # Python 3.13 warns of what is left open
        try:
            _log_ahead(engine)
            while True:
                with sentences(self.path), _writing(engine) as connection:
                    if not migrate_one(connection, str(self.path), self._migrations):
                        return engine
        except BaseException:
            engine.dispose()
            raise

    def _renew(self) -> None:
        """Open a newer copy where the database was written since the last one."""
        with self._renewing:
            if self._copies is None or not self._copies.outdated():
                return
            before, self._engine = self._engine, self._opened(self._copies.newest())
            before.dispose()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One consistent picture of the database."""
        with sentences(self.path):
            if self._copies is not None:
                self._renew()
            with self._engine.connect() as connection, connection.begin():
                yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """One transaction; on any error nothing of it is kept."""
        if self.read_only:
            raise StorageError(self.read_only)
        with sentences(self.path), _writing(self._engine) as connection:
            yield connection

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()
        if self._copies is not None:
            self._copies.close()


@contextmanager
def _writing(engine: Engine) -> Iterator[Connection]:
    with engine.connect() as plain:
        connection = plain.execution_options(posescore_write=True)
        with connection.begin():
            yield connection


def _log_ahead(engine: Engine) -> None:
    """Switch the file to a write-ahead log, for good.

    While several programs open a new library at once SQLite refuses this at once, whatever
    the busy timeout says; so we wait ourselves.
    """
    give_up_s = time.monotonic() + BUSY_TIMEOUT_S
    with closing(engine.raw_connection()) as connection:
        while True:
            try:
                connection.cursor().execute("PRAGMA journal_mode=WAL")
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > give_up_s:
                    raise
                time.sleep(0.01)
            else:
                return


def _can_be_written(path: Path) -> bool:
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def _engine(path: Path) -> Engine:
    engine = create_engine(
        URL.create("sqlite", database=str(path)),
        connect_args={"timeout": BUSY_TIMEOUT_S, "check_same_thread": False},
        max_overflow=-1,
    )

    @event.listens_for(engine, "connect")
    def _connected(connection: sqlite3.Connection, _record: Any) -> None:
        connection.isolation_level = None  # transactions are begun below, by us alone
        connection.text_factory = _text  # one damaged text hides no other row
        for pragma in ("synchronous=FULL", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        write = connection.get_execution_options().get("posescore_write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


def _text(kept: bytes) -> str:
    return kept.decode("utf-8", "surrogateescape")


@contextmanager
def sentences(path: Path) -> Iterator[None]:
    """Turn what the database and the disk complain about into one sentence.

    Raises
    ------
    StorageError
        In place of ``OSError`` and of every error of the database.
    """
    try:
        yield
    except DamagedRowError as error:
        raise error.of_library(path) from error
    except DBAPIError as error:
        raise StorageError(_sentence(path, str(error.orig))) from error
    except sqlite3.Error as error:
        raise StorageError(_sentence(path, str(error))) from error
    except (SQLAlchemyError, UnicodeDecodeError) as error:  # pages that contradict one another
        raise StorageError(_sentence(path, "malformed")) from error
    except OSError as error:
        what = error.strerror or str(error)
        where = error.filename or path
        full = error.errno in (errno.ENOSPC, errno.EDQUOT)
        do = "free some space, or choose" if full else "choose"
        raise StorageError(f"{where}: {what}: {do} {_ANOTHER}") from error


_ANOTHER: Final = f"another library folder with {ENVIRONMENT}."


def _sentence(path: Path, what: str) -> str:
    low = what.lower()
    if "readonly" in low or "read-only" in low or "unable to open" in low:
        return f"{path} cannot be written: choose another library folder with {ENVIRONMENT}."
    if "disk i/o" in low:
        return f"{path} cannot be read or written: look after the disk it lies on."
    if "full" in low:
        return f"{path} cannot grow, the disk is full: nothing was kept; free some space."
    if "not a database" in low or "malformed" in low or "corrupt" in low:
        return f"{path} is damaged: put back a copy, or choose another folder with {ENVIRONMENT}."
    if "locked" in low or "busy" in low:
        return f"{path} is in use by another program for too long: nothing was kept; try again."
    return f"{path}: {what}: nothing was kept."
