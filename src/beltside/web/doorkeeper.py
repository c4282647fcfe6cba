"""Looks at every request before a page does, and puts the safety headers on every answer.

Headers after the OWASP Secure Headers recommendations (from memory); the content security policy
allows nothing but what this server itself sends.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from beltside.web.settings import WebSettings
from beltside.web.visitors import COOKIE, Visitor, new_key

POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "media-src 'self' blob:",
        "connect-src 'self'",
        "font-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
HEADERS: Final[Mapping[str, str]] = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "microphone=(self), camera=(self), geolocation=(), payment=(), usb=()",
}
CHANGING: Final = frozenset({"POST", "PUT", "PATCH", "DELETE"})


class Doorkeeper:
    """ASGI middleware: host, origin, visitor, headers."""

    def __init__(self, app: ASGIApp, settings: WebSettings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = self._refused(scope, headers)
        visitor, fresh = self._visitor(scope)
        scope.setdefault("state", {})["visitor"] = visitor

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    out.setdefault(name, value)
                out.setdefault("Cache-Control", "no-store")
                if fresh:
                    secure = "; Secure" if self.settings.secure else ""
                    out.append(
                        "Set-Cookie",
                        f"{COOKIE}={visitor.key}; Path=/; HttpOnly; SameSite=Strict{secure}",
                    )
            await send(message)

        if refused:
            answer = _refusal(scope["path"], refused)
            await answer(scope, receive, send_with_headers)
            return
        await self.app(scope, receive, send_with_headers)

    def _refused(self, scope: Scope, headers: Headers) -> str:
        """Why the request goes no further; empty when it may."""
        host = headers.get("host", "")
        name = host.rpartition(":")[0] if host.rpartition(":")[2].isdecimal() else host
        if name not in self.settings.hosts:
            return "Beltside is not known under this name."
        if scope["method"] in CHANGING:
            origin = headers.get("origin")
            if origin is not None and origin.partition("://")[2] != host:
                return "This came from another site's page."
            if headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
                return "This came from another site's page."
        return ""

    def _visitor(self, scope: Scope) -> tuple[Visitor, bool]:
        """Who asks, and whether he has no cookie yet."""
        key = Request(scope).cookies.get(COOKIE, "")
        fresh = not 20 <= len(key) <= 100
        return Visitor("", "technician", new_key() if fresh else key), fresh


def _refusal(path: str, said: str) -> Response:
    """A refusal in plain words, or as other errors are told to programs."""
    if path.startswith("/api/"):
        told = {"problem": said, "allowed": "", "instead": "", "fields": {}}
        return JSONResponse(told, status_code=403)
    return PlainTextResponse(said, status_code=403)
