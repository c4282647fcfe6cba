"""Looks at every request before a page does, and puts the safety headers on every answer.

There are two doors. The one at this computer speaks plain HTTP on the loopback address, and who
sits there is the technician. The one for phones speaks HTTPS; nobody comes in there who is not
paired, but to be told how. Headers after the OWASP Secure Headers recommendations (from memory);
the content security policy allows nothing but what this server itself sends.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from beltside.casework.shop_access import phone_of
from beltside.web.addresses import THIS_COMPUTER, is_private
from beltside.web.forms import MOST_BYTES_OF_FIELDS
from beltside.web.limits import PhoneLimits
from beltside.web.pages import ProblemPage, show
from beltside.web.settings import WebSettings
from beltside.web.texts import text_
from beltside.web.visitors import COOKIE, SECURE_COOKIE, Role, Visitor, new_key
from beltside.web.who_may import may

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
        "object-src 'none'",
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
HSTS: Final = "max-age=31536000"
CHANGING: Final = frozenset({"POST", "PUT", "PATCH", "DELETE"})
MOST_BYTES_UNPAIRED: Final = 20_000
EMBEDS: Final = frozenset({"object", "embed", "frame", "iframe", "fencedframe"})
"""What a page may ask for that shows in it, though browsers call it going there."""


@dataclass(frozen=True)
class Refusal:
    """Why a request goes no further."""

    status: int
    title: str
    says: str
    allowed: str = ""
    instead: str = ""
    back: str = ""
    wait_s: int = 0


class TooLongError(Exception):
    """More bytes came than are taken."""


class Doorkeeper:
    """ASGI middleware: host, origin, limits, visitor, leave, headers."""

    def __init__(self, app: ASGIApp, settings: WebSettings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            elif scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
            return
        secure = scope.get("scheme") == "https"
        headers = Headers(scope=scope)
        begun = False
        visitor = Visitor("", "nobody", "", here=False)
        cookie = ""

        async def send_with_headers(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                out = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    out.setdefault(name, value)
                out.setdefault("Cache-Control", "no-store")
                # A browser applies it to the whole host: not to this computer's own, where other
                # programs may speak plain HTTP.
                if secure and _host_name(headers) not in THIS_COMPUTER:
                    out.setdefault("Strict-Transport-Security", HSTS)
                if cookie and "set-cookie" not in out:
                    out.append("Set-Cookie", cookie)
            await send(message)

        refusal = self._refused_unseen(scope, headers)
        # Our own files hold nothing of the shop: nobody is looked up for them.
        if refusal is None and not scope["path"].startswith("/static/"):
            visitor, cookie = await self._visitor(scope, secure)
            refusal = self._refused(scope, headers, visitor)
        scope.setdefault("state", {})["visitor"] = visitor
        most = self.settings.most_upload_bytes if visitor.role != "nobody" else MOST_BYTES_UNPAIRED
        if headers.get("content-type", "").startswith("application/x-www-form-urlencoded"):
            # Held in memory; files come in other forms.
            most = min(most, MOST_BYTES_OF_FIELDS)
        if refusal is None and _says_longer(headers, most):
            refusal = _too_long(most)
        if refusal is not None:
            answer = await _answer(scope, refusal)
            await answer(scope, receive, send_with_headers)
            return
        try:
            await self.app(scope, _counted(receive, most), send_with_headers)
        except TooLongError:
            if not begun:
                answer = await _answer(scope, _too_long(most))
                await answer(scope, receive, send_with_headers)
        except Exception:
            # The outermost layer would answer without the headers. It still gets to know.
            if not begun:
                plain = PlainTextResponse(
                    "Something went wrong in Beltside itself; what was kept before stands.",
                    status_code=500,
                )
                await plain(scope, receive, send_with_headers)
            raise

    def _refused_unseen(self, scope: Scope, headers: Headers) -> Refusal | None:
        """Why a request goes no further whoever sends it."""
        host = headers.get("host", "")
        hosts = self.settings.hosts
        if scope.get("scheme") == "https":
            door = scope["app"].state.phones
            hosts = door.hosts if door is not None else ()
            client = (scope.get("client") or ("",))[0]
            if not is_private(client):
                return Refusal(
                    403, text_("Not from here"), "Only devices on the local network come in."
                )
            limits: PhoneLimits = scope["app"].state.limits
            wait_s = limits.wait_before(client)
            if wait_s:
                return _too_many(wait_s)
        if _host_name(headers) not in hosts:
            return Refusal(403, text_("Not from here"), "Beltside is not known under this name.")
        if _is_fetched_by_another_site(headers):
            return Refusal(403, text_("Not from here"), "This came from another site's page.")
        if scope["method"] in CHANGING:
            origin = headers.get("origin")
            site = headers.get("sec-fetch-site", "same-origin")
            scheme = scope.get("scheme", "http")
            if (origin is not None and origin != f"{scheme}://{host}") or site not in {
                "same-origin",
                "none",
            }:
                return Refusal(403, text_("Not from here"), "This came from another site's page.")
        return None

    async def _visitor(self, scope: Scope, secure: bool) -> tuple[Visitor, str]:
        """Who asks, and the cookie he is to be given; "" when he has a good one."""
        name = SECURE_COOKIE if secure else COOKIE
        key = Request(scope).cookies.get(name, "")
        fresh = not 20 <= len(key) <= 100
        if fresh:
            key = new_key()
        cookie = set_cookie(name, key, secure=secure) if fresh else ""
        if not secure:
            return Visitor("", "technician", key), cookie
        phone = None if fresh else await run_in_threadpool(phone_of, scope["app"].state.shop, key)
        if phone is None:
            return Visitor("", "nobody", key, here=False), cookie
        role: Role = "technician" if phone.role == "technician" else "helper"
        return Visitor(phone.name, role, key, here=False, phone=phone.id), cookie

    def _refused(self, scope: Scope, headers: Headers, visitor: Visitor) -> Refusal | None:
        """Why a request of this visitor goes no further."""
        method, path = scope["method"], scope["path"]
        if not visitor.here:
            limits: PhoneLimits = scope["app"].state.limits
            wait_s = limits.wait(
                scope["client"][0],
                visitor.phone,
                changing=method in CHANGING,
                pairing=path == "/pair" and method in CHANGING,
            )
            if wait_s:
                return _too_many(wait_s)
        if may(visitor.role, here=visitor.here, method=method, path=path):
            return None
        if visitor.role == "nobody":
            return Refusal(
                401,
                text_("This phone is not paired"),
                "It was not paired yet, or its pairing is over.",
                "",
                "the page Phones at the computer: it makes a code for this phone",
                "/pair",
            )
        return Refusal(
            403,
            text_("Not with this phone"),
            "This is for the technician."
            if visitor.role == "helper"
            else "This is done at the computer itself.",
            "",
            "asking him" if visitor.role == "helper" else "the same page at the computer",
            "/",
        )


def set_cookie(name: str, key: str, *, secure: bool, max_age_s: int | None = None) -> str:
    """A cookie that pages cannot read, other sites cannot send and plain HTTP does not carry."""
    parts = [f"{name}={key}", "Path=/", "HttpOnly", "SameSite=Strict"]
    if max_age_s is not None:
        parts.append(f"Max-Age={max_age_s}")
    if secure:
        parts.append("Secure")
    return "; ".join(parts)


def _host_name(headers: Headers) -> str:
    """The name under which this server was asked for, without its port."""
    host = headers.get("host", "")
    name, _, port = host.rpartition(":")
    return (name if port.isdecimal() and port.isascii() else host).lower()


def _is_fetched_by_another_site(headers: Headers) -> bool:
    """Whether a stranger's page asks for something to use in it, and nobody followed a link.

    It could not read the answer, but learn from it whether a job or file is there (Fetch Metadata,
    W3C working draft). Browsers say so; programs, and browsers of before 2023, say nothing.
    """
    if headers.get("sec-fetch-site", "none") in {"same-origin", "none"}:
        return False
    goes = headers.get("sec-fetch-mode") == "navigate"
    return not goes or headers.get("sec-fetch-dest", "document") in EMBEDS


def _says_longer(headers: Headers, most: int) -> bool:
    said = headers.get("content-length", "0")
    return not said.isdecimal() or int(said[:20]) > most


def _too_many(wait_s: int) -> Refusal:
    return Refusal(
        429,
        text_("Too much at once"),
        f"Too many requests came from this phone. Wait {wait_s} s.",
        "",
        "the same again after that; nothing was lost",
        wait_s=wait_s,
    )


def _too_long(most: int) -> Refusal:
    return Refusal(
        413,
        text_("Too long"),
        "This is longer than what is taken at once.",
        f"up to {most / 1e6:g} MB",
        "a shorter recording, a shorter text or a smaller file",
    )


def _counted(receive: Receive, most: int) -> Receive:
    """The body as it comes, up to so many bytes, whatever its header said."""
    got = 0

    async def counted() -> Message:
        nonlocal got
        message = await receive()
        if message["type"] == "http.request":
            got += len(message.get("body", b""))
            if got > most:
                raise TooLongError
        return message

    return counted


async def _answer(scope: Scope, refusal: Refusal) -> Response:
    """A refusal as a page, as JSON for a program, or in plain words before anybody is known."""
    extra = {"Retry-After": str(refusal.wait_s)} if refusal.wait_s else {}
    request = Request(scope)
    if scope["path"].startswith("/api/") or "application/json" in request.headers.get("accept", ""):
        return JSONResponse(
            {
                "problem": refusal.says,
                "allowed": refusal.allowed,
                "instead": refusal.instead,
                "fields": {},
            },
            status_code=refusal.status,
            headers=extra,
        )
    if not request.state.visitor.key or refusal.wait_s:
        return PlainTextResponse(refusal.says, status_code=refusal.status, headers=extra)
    page = ProblemPage(
        refusal.title, refusal.says, refusal.allowed, refusal.instead, refusal.back or "/"
    )
    answer: Response = await run_in_threadpool(show, request, page, status=refusal.status)
    return answer
