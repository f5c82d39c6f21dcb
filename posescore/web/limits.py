"""What a request may bring along, and one sentence for whatever goes wrong behind it."""

from __future__ import annotations

import asyncio
import os
import sys
from typing import Any, Final

from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BODY_BYTES: Final = 2**20
"""Of JSON: a hundred times what the longest edit takes. Footage is sent in another way."""
BODY_WITHIN_S: Final = 20.0
"""So long the next piece of a body may take, footage included: networks break off and come back."""
_FOOTAGE: Final = "/api/footage/"
_IN_PART: Final = "The request came only in part: send it again."


class Limits:
    """ASGI middleware around everything behind the guard."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on with a body that has bounds; answer what fails with a sentence."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        answer = _Answer(send)
        try:
            await self._app(scope, _Body(scope, receive).receive, answer.send)
        except MemoryError:
            sentence = "There is not enough memory: close other programs and try again."
            await answer.instead(scope, receive, 507, sentence)
        except Exception as error:
            if os.environ.get("POSESCORE_DEBUG"):
                raise
            kind = type(error).__name__
            print(
                f"posescore: {scope['method']} of a page failed ({kind}); with "
                "POSESCORE_DEBUG=1 it says where.",
                file=sys.stderr,
                flush=True,
            )
            sentence = f"Something in PoseScore failed ({kind}); nothing was changed."
            await answer.instead(scope, receive, 500, sentence)


def _too_large() -> HTTPException:
    sentence = f"The request is larger than {MOST_BODY_BYTES // 2**20} MB: send less."
    return HTTPException(413, sentence, {"connection": "close"})


class _Body:
    """The body of a request, piece by piece."""

    def __init__(self, scope: Scope, receive: Receive) -> None:
        self._receive = receive
        self._is_footage = scope["method"] == "PUT" and scope["path"].startswith(_FOOTAGE)
        self._size, self._ended = 0, False
        headers = dict(scope["headers"])
        stated = headers.get(b"content-length", b"0")
        self._stated = int(stated) if stated.isdigit() else 0

    async def receive(self) -> Message:
        if self._ended:
            return await self._receive()
        if self._stated > MOST_BODY_BYTES and not self._is_footage:
            raise _too_large()
        try:
            message = await asyncio.wait_for(self._receive(), BODY_WITHIN_S)
        except TimeoutError as error:
            raise HTTPException(408, _IN_PART, {"connection": "close"}) from error
        self._ended = not message.get("more_body", False)
        self._size += len(message.get("body", b""))
        if self._size > MOST_BODY_BYTES and not self._is_footage:
            raise _too_large()
        return message


class _Answer:
    """The answer to a request, as long as none has begun."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self._began = False

    async def send(self, message: Message) -> None:
        self._began = True
        await self._send(message)

    async def instead(self, scope: Scope, receive: Receive, status: int, sentence: str) -> None:
        if not self._began:
            headers = {"connection": "close"}
            made: Any = JSONResponse({"error": sentence}, status, headers)
            await made(scope, receive, self._send)
