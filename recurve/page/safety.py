"""Who may ask the page, and what a browser may do with what it answers.

The server listens on the loopback address. A name in the Host header that is not this machine's own address shows a page of
somebody else's that was pointed here, and an Origin that is not the page's own shows another page at work: both are refused.
With a phone let in, whoever does not sit at this machine shows once a code that stands in the terminal.
"""

from __future__ import annotations

import ipaddress
import secrets
import threading
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 2_000_000  # bytes of a request
WRONG_CODES = 8  # after so many nobody is let in any more until the page is started again
COOKIE = "recurve-bench"
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
OPEN = ("/static/", "/enter")  # what a phone sees before it has shown its code


@dataclass
class Door:
    """Whom to let in: only this machine, or, with `lan`, whoever shows the code, which is `said` in the terminal and holds
    once."""

    lan: bool = False
    code: str = ""
    inside: set[str] = field(default_factory=set)
    wrong: int = 0
    _one: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def renew(self) -> str:
        """A new code of six digits, the only one that holds from now on."""
        self.code = f"{secrets.randbelow(10**6):06d}"
        return self.code

    def enter(self, given: str) -> str | None:
        """The secret of a cookie for whoever gives the code; None for a wrong one."""
        with self._one:  # two at once may not both be the one
            known = bool(self.code) and secrets.compare_digest(given.encode(), self.code.encode())
            if self.wrong >= WRONG_CODES or not known:
                self.wrong += 1
                return None
            self.code = ""
            secret = secrets.token_urlsafe(24)
            self.inside.add(secret)
            return secret

    def knows(self, request: Request) -> bool:
        """Whether the one who asks is at this machine, or has shown a code."""
        host = "" if request.client is None else request.client.host
        return is_loopback(host) or (self.lan and request.cookies.get(COOKIE, "") in self.inside)


def is_loopback(host: str) -> bool:
    """Whether an address is this machine's own."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def own_host(host: str, lan: bool) -> bool:
    """Whether a Host header names this machine by its address: no name that somebody else could point here."""
    name = urlsplit(f"//{host}").hostname or ""
    if name == "localhost":
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return False
    return address.is_loopback or lan


class Guard:
    """Refuses foreign hosts and origins, too much at once, and whoever has shown no code; adds the headers to each answer."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        """Around an app, with a door."""
        self.app, self.door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                told = Headers(raw=message["headers"])
                message["headers"] = [
                    *message["headers"],
                    *((k.encode(), v.encode()) for k, v in HEADERS.items() if k not in told),
                ]
            await send(message)

        refused = self._refused(request)
        if refused is not None:
            await refused(scope, receive, guarded)
            return
        await self.app(scope, receive, guarded)

    def _refused(self, request: Request) -> Response | None:
        host = request.headers.get("host", "")
        if not own_host(host, self.door.lan):
            return PlainTextResponse("This page answers only at its own address.", 403)
        origin = request.headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != host:
            return PlainTextResponse("Another page asked for this; it was refused.", 403)
        if (
            request.method not in ("GET", "HEAD")
            and request.headers.get("sec-fetch-site", "same-origin") != "same-origin"
        ):
            return PlainTextResponse("Another page asked for this; it was refused.", 403)
        try:
            length = int(request.headers.get("content-length", "0"))
        except ValueError:
            return PlainTextResponse("Bad length.", 400)
        if length > LARGEST_BODY or "transfer-encoding" in request.headers:
            return PlainTextResponse("That is more than this page accepts.", 413)
        if not self.door.knows(request) and not request.url.path.startswith(OPEN):
            return RedirectResponse("/enter", 303)
        return None
