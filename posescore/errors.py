"""One tree of errors. Each is one sentence for a person, and knows its exit code and HTTP status.

    PoseScoreError
    ├── InputError            what was given cannot be used            exit 2   HTTP 422
    │   ├── FootageError      a video or picture cannot be read        exit 2   HTTP 422
    │   ├── LogError          a score log is not what it should be     exit 2   HTTP 422
    │   ├── KeypointFileError keypoints in a file cannot be used       exit 2   HTTP 422
    │   └── NotFoundError     no such match, proposal or file          exit 2   HTTP 404
    ├── StorageError          disk full, library read-only or broken   exit 2   HTTP 507
    ├── ConflictError         an edit that no longer fits              exit 2   HTTP 409
    │   └── ChangedMeanwhileError its author had seen something else   exit 2   HTTP 409
    └── OwnFailureError       our own fault, or a broken installation  exit 1   HTTP 500
        └── MissingPartError  a model, extra or system library is absent

Messages name the file or field, say what is wrong and what to do.
"""

from __future__ import annotations

from typing import ClassVar


class PoseScoreError(Exception):
    """Anything this program reports in one sentence."""

    exit_code: ClassVar[int] = 2
    http_status: ClassVar[int] = 400


class InputError(PoseScoreError):
    """What a person gave cannot be used."""

    http_status = 422


class FootageError(InputError):
    """A video or picture cannot be read."""


class LogError(InputError):
    """A score log is not what it should be."""


class KeypointFileError(InputError):
    """Keypoints in a file cannot be used."""


class NotFoundError(InputError):
    """No such match, proposal or file."""

    http_status = 404


class StorageError(PoseScoreError):
    """The disk is full, or the library cannot be written or read."""

    http_status = 507


class ConflictError(PoseScoreError):
    """An edit that no longer fits what it edits."""

    http_status = 409


class ChangedMeanwhileError(ConflictError):
    """What an edit is about changed since its author saw it: both sides, in words with fields.

    Parameters
    ----------
    by, did
        Who changed it, and what that was.
    line
        Key of the line, "" for anything else.
    before, now
        What stood as the author saw it, and what stands.
    last_entry_id
        The newest entry of the log; an edit that has seen this one is done.
    """

    def __init__(
        self, sentence: str, *, by: str, did: str, line: str, before: str, now: str,
        last_entry_id: int,
    ) -> None:  # fmt: skip
        super().__init__(sentence)
        self.by = by
        self.did = did
        self.line = line
        self.before = before
        self.now = now
        self.last_entry_id = last_entry_id


class OwnFailureError(PoseScoreError):
    """A failure that is the program's, not the person's."""

    exit_code = 1
    http_status = 500


class MissingPartError(OwnFailureError):
    """A model file, an extra or a system library is not there."""
