"""What takes a while to write (reports, clips, films, lessons): made one after the other, beside.

Each is made in a process of its own, at low priority, so that pages stay quick and a failure or a
cancel leaves nothing behind. Finished files lie in a passing folder until the server ends.
"""

from __future__ import annotations

import atexit
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from pathlib import Path
from threading import Condition, Thread
from typing import Any, Final

from posescore.errors import ConflictError, NotFoundError

MOST_KEPT: Final = 12
"""Outputs that are remembered; the oldest finished ones go with their files."""


class OutputKind(StrEnum):
    """What can be made."""

    REPORT_HTML = "report-html"
    REPORT_PDF = "report-pdf"
    CLIPS = "clips"
    FILM = "film"
    LESSON = "lesson"


SUFFIXES: Final[Mapping[OutputKind, str]] = {
    OutputKind.REPORT_HTML: "-report.html",
    OutputKind.REPORT_PDF: "-report.pdf",
    OutputKind.CLIPS: "-clips.zip",
    OutputKind.FILM: "-with-skeletons.mp4",
    OutputKind.LESSON: "-lesson.html",
}


class OutputState(StrEnum):
    """Where an output stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


ENDED: Final = frozenset({OutputState.DONE, OutputState.FAILED, OutputState.CANCELLED})


@dataclass(frozen=True, slots=True)
class Wish:
    """What somebody wants to have.

    ``proposed`` takes in what nobody decided on yet, marked as that; reports always do.
    """

    library: str
    match_id: int
    kind: OutputKind
    opinion: str = ""
    skeletons: bool = True
    hide_faces: bool = False
    proposed: bool = True
    read_only: bool = False


@dataclass(frozen=True, slots=True)
class Output:
    """One output: how far it is, and where it lies once it is done."""

    id: int
    wish: Wish
    name: str
    path: Path
    state: OutputState = OutputState.WAITING
    done: int = 0
    total: int = 0
    message: str = ""


class Maker:
    """Makes outputs in the order of the wishes. Safe from several threads."""

    def __init__(self) -> None:
        self._outputs: dict[int, Output] = {}
        self._news = Condition()
        self._worker: Thread | None = None
        self._running: subprocess.Popen[str] | None = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._last_id = 0

    def wish(self, wish: Wish, stem: str) -> Output:
        """Line up an output; ``stem`` begins the file's name."""
        with self._news:
            if self._folder is None:
                self._folder = tempfile.TemporaryDirectory(
                    prefix="posescore-", ignore_cleanup_errors=True
                )
            self._last_id += 1
            name = f"{stem}{SUFFIXES[wish.kind]}"
            path = Path(self._folder.name) / str(self._last_id) / name
            output = Output(self._last_id, wish, name, path)
            self._outputs[output.id] = output
            self._forget()
            if self._worker is None:
                self._worker = Thread(target=self._work, name="outputs", daemon=True)
                self._worker.start()
                atexit.register(self.close)
            self._news.notify_all()
        return output

    def _forget(self) -> None:
        ended = [output for output in self._outputs.values() if output.state in ENDED]
        for output in ended[: max(0, len(self._outputs) - MOST_KEPT)]:
            shutil.rmtree(output.path.parent, ignore_errors=True)
            del self._outputs[output.id]

    def output(self, output_id: int) -> Output:
        """One output; NotFoundError where it is no longer remembered."""
        with self._news:
            found = self._outputs.get(output_id)
        if found is None:
            raise NotFoundError(f"output {output_id} is not kept any more: make it again.")
        return found

    def outputs(self, match_id: int) -> list[Output]:
        """All of a match, oldest first."""
        with self._news:
            return [each for each in self._outputs.values() if each.wish.match_id == match_id]

    def file(self, output_id: int) -> Output:
        """A finished output; ConflictError while it is not there yet."""
        output = self.output(output_id)
        if output.state is not OutputState.DONE or not output.path.is_file():
            raise ConflictError(f"output {output_id} is not there to save: it is {output.state}.")
        return output

    def cancel(self, output_id: int) -> Output:
        """Stop an output; one that has ended stays as it is."""
        output = self.output(output_id)
        with self._news:
            output = self._outputs[output.id]
            if output.state not in ENDED:
                if output.state is OutputState.RUNNING and self._running is not None:
                    self._running.kill()
                self._set(output.id, state=OutputState.CANCELLED)
        return self.output(output_id)

    def close(self) -> None:
        """Stop what is being made, and clear up."""
        with self._news:
            waiting = [each.id for each in self._outputs.values() if each.state not in ENDED]
        for output_id in waiting:
            self.cancel(output_id)
        if self._folder is not None:
            self._folder.cleanup()

    # The worker ---------------------------------------------------------------------------------
    def _set(self, output_id: int, **what: Any) -> None:
        with self._news:
            output = self._outputs[output_id]
            if output.state not in ENDED:
                self._outputs[output_id] = replace(output, **what)

    def _work(self) -> None:
        while True:
            with self._news:
                self._news.wait_for(lambda: self._next() is not None)
                output = self._next()
                assert output is not None
                self._set(output.id, state=OutputState.RUNNING)
            self._make(output)

    def _next(self) -> Output | None:
        waiting = (o for o in self._outputs.values() if o.state is OutputState.WAITING)
        return next(waiting, None)

    def _make(self, output: Output) -> None:
        """Run the process and read what it says, one JSON object a line."""
        output.path.parent.mkdir(parents=True, exist_ok=True)
        asked = json.dumps({**asdict(output.wish), "out": str(output.path)})
        command = [sys.executable, "-m", "posescore.web.make_output", asked]
        last: dict[str, Any] = {}
        with subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, encoding="utf-8"
        ) as process:
            with self._news:
                self._running = process
                if self._outputs[output.id].state in ENDED:
                    process.kill()
            assert process.stdout is not None
            for line in process.stdout:
                last = json.loads(line)
                if "done" in last:
                    self._set(output.id, done=last["done"], total=last["total"])
        with self._news:
            self._running = None
        self._ended(output, last, process.returncode)

    def _ended(self, output: Output, last: Mapping[str, Any], code: int) -> None:
        if code == 0 and output.path.is_file():
            self._set(output.id, state=OutputState.DONE)
            return
        shutil.rmtree(output.path.parent, ignore_errors=True)
        message = last.get("error", "It could not be made: the program that makes it ended early.")
        self._set(output.id, state=OutputState.FAILED, message=str(message))
