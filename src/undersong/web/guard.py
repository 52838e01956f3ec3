"""Which pages may talk to the app, and what a page may do.

The app listens on this computer alone unless asked, yet any web page open in the same browser
could try to reach it. So: only our own host names are answered (a foreign name that points here
is refused), nothing that changes or records anything is taken from another site, a page may load
nothing from elsewhere, run no script that is not one of our files and have no style but our own
sheet, and bodies have a largest size.

References
----------
Content Security Policy Level 3 [W3C]; Fetch Metadata Request Headers [W3C]; Origin [RFC 6454].
"""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from undersong.web.style import STYLE_SOURCE

LARGEST_BODY_BYTES = 260 * 2**20  # ten minutes of one channel at 48 kHz, and a whole log
OWN_HOSTS = frozenset({"127.0.0.1", "localhost", "[::1]"})
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_FORBIDDEN, _TOO_LARGE = 403, 413
_NO_ENTRY = 1008  # the WebSocket close code for a policy refused [RFC 6455, 7.4.1]

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; "
    f"style-src {STYLE_SOURCE}; "
    "img-src 'self' data:; font-src 'self'; media-src 'self' blob:; connect-src 'self'; "
    "worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "microphone=(self), camera=(), geolocation=()",
}


class Guard:
    """Middleware: refuses what comes from elsewhere, and puts the policy on every answer."""

    def __init__(
        self, app: ASGIApp, hosts: Iterable[str] = OWN_HOSTS, origin: str | None = None
    ) -> None:
        """`origin` is the scheme, host and port of our own pages, where a proxy hides them."""
        self.app = app
        self.hosts = frozenset(each.strip("[]") for each in hosts)
        self.scheme = None if origin is None else urlsplit(origin).scheme

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or one WebSocket."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal and scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": _NO_ENTRY, "reason": refusal})
            return
        if refusal:
            status = _TOO_LARGE if refusal == TOO_LARGE else _FORBIDDEN
            await PlainTextResponse(refusal, status)(scope, receive, _with_policy(send))
            return
        # Our own files may be kept if asked after; pages are about people and are not.
        is_file = scope["path"].startswith(("/static/", "/fonts/"))
        policy = _with_policy(send, keeping="no-cache" if is_file else "no-store")
        await self.app(scope, _limited(receive), policy)

    def _refusal(self, scope: Scope) -> str:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if urlsplit(f"//{host}").hostname not in self.hosts:
            return FOREIGN_NAME
        origin = headers.get("origin")
        if scope["type"] == "websocket":
            return "" if self._is_own(origin, host, scope) else ELSEWHERE
        if scope["method"] in _SAFE_METHODS:
            return ""
        site = headers.get("sec-fetch-site", "same-origin")
        if site not in ("same-origin", "none") or (
            origin and not self._is_own(origin, host, scope)
        ):
            return ELSEWHERE
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > LARGEST_BODY_BYTES:
            return TOO_LARGE
        return ""

    def _is_own(self, origin: str | None, host: str, scope: Scope) -> bool:
        """Whether a page of ours asks: same scheme, host and port."""
        scheme = self.scheme or {"ws": "http", "wss": "https"}.get(scope["scheme"], scope["scheme"])
        return origin == f"{scheme}://{host}"


FOREIGN_NAME = "Undersong does not answer to this name: use the address it printed."
ELSEWHERE = "This came from another page, not from Undersong: it was refused."
TOO_LARGE = "This is too large: a file may have 260 MB at most."


def _with_policy(send: Send, keeping: str = "no-store") -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("Cache-Control", keeping)
        await send(message)

    return sending


def _limited(receive: Receive) -> Receive:
    """The same messages; a body without a stated length is cut off at the limit."""
    taken = 0

    async def receiving() -> Message:
        nonlocal taken
        message = await receive()
        if message["type"] == "http.request":
            taken += len(message.get("body", b""))
            if taken > LARGEST_BODY_BYTES:
                return {"type": "http.disconnect"}
        return message

    return receiving
