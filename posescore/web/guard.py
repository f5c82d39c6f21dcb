"""Who may talk to the server: this machine, or whoever holds the token.

Three attacks from a page of somebody else's are shut out here: a foreign name that resolves to this
machine (the Host header must name this server), a form or script on a foreign page (what changes
anything must come from our own origin), and a guess at the token (compared in constant time).
"""

from __future__ import annotations

import hmac
import ipaddress
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Final
from urllib.parse import parse_qs, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE: Final = "posescore_token"
_SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})

SECURITY_HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self' 'unsafe-eval'; "
        "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
        "media-src 'self' blob:; connect-src 'self'; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
"""Sent with every answer: nothing outside this server can be loaded or reached. Vue
compiles the pages' templates in the browser, hence ``unsafe-eval``."""


@dataclass(frozen=True, slots=True)
class Access:
    """Where the server listens and what it asks for.

    ``token`` None means that only this machine can reach it; then the Host header must be a
    loopback name. With a token any Host is fine: a foreign page does not have the token.
    """

    token: str | None = None


def is_loopback(host: str) -> bool:
    """True for names and addresses of this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _host_name(value: str) -> str:
    try:
        return (urlsplit(f"//{value}").hostname or "").lower()
    except ValueError:
        return ""


class Guard:
    """ASGI middleware that lets a request in or answers it with a sentence."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self._app = app
        self._access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check pages, API and web sockets alike."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is not None and scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        app = self._app if refusal is None else refusal
        await app(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if self._access.token is None and not is_loopback(_host_name(host)):
            return _refuse(421, "This server answers to this machine's own name only.")
        changes = scope["type"] == "websocket" or scope["method"] not in _SAFE_METHODS
        if changes and not _same_origin(headers, host):
            return _refuse(403, "This request came from another page, so it was refused.")
        return None if self._access.token is None else self._token_refusal(scope, headers)

    def _token_refusal(self, scope: Scope, headers: Headers) -> Response | None:
        token = self._access.token or ""
        if _is_token(_cookie(headers), token):
            return None
        query = parse_qs(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        given = query.pop("token", [""])[0]
        if scope["type"] == "http" and scope["method"] == "GET" and _is_token(given, token):
            rest = urlencode(query, doseq=True)
            answer = RedirectResponse(_inward(scope["path"]) + (f"?{rest}" if rest else ""), 303)
            answer.set_cookie(COOKIE, token, httponly=True, samesite="lax")
            return answer
        return _refuse(401, "Open the link that posescore printed: it carries the token.")


def _inward(path: str) -> str:
    """The path on this server: two strokes at its beginning would name another one."""
    return "/" + path.lstrip("/\\")


def _is_token(given: str, token: str) -> bool:
    return hmac.compare_digest(given.encode(), token.encode())


def _cookie(headers: Headers) -> str:
    try:
        kept = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return kept.value if kept else ""


def _same_origin(headers: Headers, host: str) -> bool:
    """True where the browser says that our own page asks, or no browser asks at all."""
    site = headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc.lower() == host.lower()


def _refuse(status: int, sentence: str) -> Response:
    return JSONResponse({"error": sentence}, status)


def _with_headers(send: Send) -> Send:
    async def send_with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in SECURITY_HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return send_with_headers
