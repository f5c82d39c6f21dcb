"""Serve the review page and the API until somebody presses Ctrl-C."""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from posescore.errors import InputError, MissingPartError, StorageError
from posescore.library.library import Library
from posescore.library.store.backups import keep_copy
from posescore.resources import MODELS, shipped, shipped_models

if TYPE_CHECKING:
    import uvicorn
    from fastapi import FastAPI

DEFAULT_PORT: Final = 7460
"""Not registered for another service; any free port is taken where it is busy."""
LOOKED_EVERY_S: Final = 900.0
"""So often it is looked whether a copy of the library is due."""


def serve(
    library: Library,
    host: str = "127.0.0.1",
    port: int | None = None,
    *,
    open_browser: bool = True,
    token: str | None = None,
    start_path: str = "/",
    worker: Sequence[str] | None = None,
) -> None:
    """Serve until interrupted, after printing the address.

    Parameters
    ----------
    library
        What the pages show and edit.
    host
        Where to listen. Anything but a loopback address asks for a token on every request.
    port
        Where to listen; None takes :data:`DEFAULT_PORT` or, where it is busy, a free one;
        0 takes a free one.
    open_browser
        Open the address in the user's browser.
    token
        The token; None makes a new one where one is needed. On loopback there is none unless given.
    start_path
        The page to open.
    worker
        The program that runs the analyses that wait; None takes the usual one.

    Raises
    ------
    InputError
        When the host is none of this machine's, or the chosen port is taken.
    """
    from posescore.web.app import create_app
    from posescore.web.guard import Access, is_loopback
    from posescore.web.jobs.supervisor import ANALYSES, Supervisor

    listening = _listen(host, port)
    _check_models()
    if token is None and not is_loopback(host):
        token = secrets.token_urlsafe(24)
    address = _address(host, listening, token, start_path)
    with listening, _copies(library):
        app = create_app(library, Access(token))
        server = _server(app, lambda: _ready(address, open_browser, token is not None))
        with contextlib.suppress(KeyboardInterrupt), Supervisor(library, worker or ANALYSES):
            server.run([listening])


@contextlib.contextmanager
def _copies(library: Library) -> Iterator[None]:
    """Keep a copy of the library now, and one for every further day that the pages are open."""
    leave = threading.Event()

    def daily() -> None:
        while not leave.wait(LOOKED_EVERY_S):
            _keep_copy(library, when_due=True)

    if library.read_only:
        yield
        return
    _keep_copy(library, when_due=False)
    thread = threading.Thread(target=daily, name="copies", daemon=True)
    thread.start()
    try:
        yield
    finally:
        leave.set()
        thread.join()


def _check_models() -> None:
    """Say at once where a model is missing or exchanged; analyses would only refuse it later."""
    for name in shipped_models():
        try:
            shipped(MODELS, name)
        except MissingPartError as error:
            print(f"posescore: {error}", file=sys.stderr, flush=True)


def _keep_copy(library: Library, *, when_due: bool) -> None:
    try:
        keep_copy(library.path, when_due=when_due)
    except StorageError as error:
        print(f"posescore: {error}", file=sys.stderr, flush=True)


def _listen(host: str, port: int | None) -> socket.socket:
    try:
        found = socket.getaddrinfo(host, port or 0, type=socket.SOCK_STREAM)
    except socket.gaierror as error:
        raise InputError(f"{host}: no address of this machine; try 127.0.0.1.") from error
    family, kind, proto, _, _ = found[0]
    wanted = [DEFAULT_PORT, 0] if port is None else [port]
    for number in wanted:
        listening = socket.socket(family, kind, proto)
        if os.name != "nt":  # there it would let two servers share one port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, number))
            listening.listen(128)
        except OSError as error:
            listening.close()
            if number == wanted[-1]:
                raise InputError(
                    f"{host} port {number}: cannot be used ({error.strerror}); choose another."
                ) from error
        else:
            return listening
    raise StorageError("no free port was found.")


def _address(host: str, listening: socket.socket, token: str | None, path: str) -> str:
    name = {"0.0.0.0": socket.gethostname(), "::": socket.gethostname()}.get(host, host)
    name = f"[{name}]" if ":" in name else name
    query = f"?token={quote(token)}" if token else ""
    return f"http://{name}:{listening.getsockname()[1]}{path}{query}"


def _ready(address: str, open_browser: bool, reached_by_others: bool) -> None:
    if reached_by_others:
        print(
            "Other machines can reach this address, and what is sent (footage, names, the token) "
            "is not encrypted:\nuse it in a network that you trust, or reach it through an "
            "encrypted tunnel.",
            file=sys.stderr,
            flush=True,
        )
    print(f"Review page: {address}\nCtrl-C ends it; everything is saved as you go.", flush=True)
    if open_browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def _server(app: FastAPI, ready: Callable[[], None]) -> uvicorn.Server:
    import uvicorn

    from posescore.web.patience import quiet_config

    class Server(uvicorn.Server):
        """Says when it is ready, and leaves quietly on Ctrl-C."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                ready()

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            app.state.leaving = True  # what is sent without end ends now
            await super().shutdown(sockets)

    config = quiet_config(
        app,
        log_level="error",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=1,
    )
    return Server(config)
