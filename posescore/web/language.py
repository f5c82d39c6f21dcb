"""In which language a request is answered: as a person chose, else as the browser asks."""

from __future__ import annotations

from http.cookies import CookieError, SimpleCookie
from typing import Final

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from posescore.words import LANGUAGES, SOURCE, speaking

LANGUAGE_COOKIE: Final = "posescore-language"
A_YEAR_S: Final = 365 * 86_400


class Language:
    """ASGI middleware that answers every request in its own language."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Set the language for as long as the answer takes."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        with speaking(language_asked(Headers(scope=scope))):
            await self._app(scope, receive, send)


def language_asked(headers: Headers) -> str:
    """The language of the cookie, else the first of the browser's that there is, else English."""
    try:
        kept = SimpleCookie(headers.get("cookie", "")).get(LANGUAGE_COOKIE)
    except CookieError:
        kept = None
    if kept is not None and kept.value in LANGUAGES:
        return kept.value
    for asked in _by_preference(headers.get("accept-language", "")):
        short = asked.partition("-")[0].lower()
        if short in LANGUAGES:
            return short
    return SOURCE


def _by_preference(header: str) -> list[str]:
    """The languages of a header (RFC 9110, 12.5.4), the most wanted first; none of weight 0."""
    weighed: list[tuple[float, int, str]] = []
    for part in header.split(","):
        name, _, parameter = part.strip().partition(";")
        try:
            weight = float(parameter.strip().removeprefix("q=") or 1)
        except ValueError:
            weight = 0.0
        if weight > 0:
            weighed.append((-weight, len(weighed), name.strip()))
    return [name for _, _, name in sorted(weighed)]
