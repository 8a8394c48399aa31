"""The gate in front of the page: who is let in, how much a request may bring, what the browser is told.

A page on loopback is open to every site that the maker's browser shows. Such a site can send requests here, and
by a name of its own that it points at this machine it can read the answers. So a request must name this page
(Host), must not come from another site (Origin, Sec-Fetch-Site), and ends where it brings too much, whatever
its headers say about its length.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from ipaddress import IPv6Address, ip_address

from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_UPLOAD_BYTES = 250_000_000
"""The largest body that is taken: a binary STL of five million triangles."""
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
"""The names by which a browser on this machine may ask."""
PAGES = frozenset({"/"})
"""What a link on another site may open; everything else is for the page itself."""

Headers = list[tuple[bytes, bytes]]

_POLICY = {
    "default-src": "'none'",
    "script-src": "'self' 'unsafe-inline' 'unsafe-eval'",  # the page's framework compiles its templates
    "style-src": "'self' 'unsafe-inline'",
    "img-src": "'self' data: blob:",
    "font-src": "'self' data:",
    "media-src": "'self' data: blob:",
    "worker-src": "'self' blob:",
    "manifest-src": "'self'",
    "connect-src": "'self' data: blob: ws://{host}",  # older browsers do not count a websocket as 'self'
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}
_FORWARDED = (b"forwarded", b"x-forwarded-")
"""Nothing stands between browser and page; who says so is not believed."""


class Guard:
    """ASGI middleware round the whole app.

    port: where the server listens. names: further Host names, without port, for a server that listens beyond
    loopback. arrival: whether the address at which a connection arrived is one, too, for a server that listens at
    all of the machine's. most_bytes: the largest body.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        port: int,
        names: Iterable[str] = (),
        arrival: bool = False,
        most_bytes: int = MOST_UPLOAD_BYTES,
    ) -> None:
        self.app = app
        self._port = port
        self._hosts = {_plain_host(f"{name}:{port}") for name in (*LOOPBACK, *names)}
        self._arrival = arrival
        self._most = most_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        host = self._known_host(scope)
        status, words = self._refusal(scope, host)
        headers = security_headers(host or f"{LOOPBACK[0]}:{self._port}")
        if status:
            await _refuse(scope, send, status, words, headers)
            return
        scope = {
            **scope,
            "headers": [pair for pair in scope["headers"] if not pair[0].startswith(_FORWARDED)],
        }
        if scope["type"] == "websocket":
            await self.app(scope, receive, send)
            return
        passage = _Passage(scope, receive, send, self._most, headers)
        try:
            await self.app(scope, passage.receive, passage.send)
        except Exception:
            if not passage.answered:
                raise  # otherwise it is the app's word for the body that ended early

    def _known_host(self, scope: Scope) -> str:
        """The Host header, where it names this page; "" where it does not."""
        host = _plain_host(_one(scope, b"host") or "")
        known = host in self._hosts or (self._arrival and host == _arrived_at(scope, self._port))
        return host if known else ""

    def _refusal(self, scope: Scope, host: str) -> tuple[int, str]:
        """Status and words for a request that is not let in; status 0 for one that is."""
        if not host:
            return (
                403,
                f"This page does not answer to that name. Open http://127.0.0.1:{self._port}/ instead.",
            )
        if not _from_own_page(scope, host):
            return 403, "Another site asked for this. The page answers to its own requests only."
        if scope["type"] == "http" and _declared_bytes(scope) > self._most:
            return 413, too_much_words(self._most)
        return 0, ""


class _Passage:
    """One request on its way through: its body is counted, its answer gets the headers.

    answered: the body was too large, and the answer that says so has been sent.
    """

    def __init__(self, scope: Scope, receive: Receive, send: Send, most: int, headers: Headers) -> None:
        self.answered = False
        self._scope = scope
        self._receive = receive
        self._send = send
        self._most = most
        self._headers = headers
        self._taken = 0
        self._whole = not _declared_bytes(scope) and _one(scope, b"transfer-encoding") is None
        self._started = False
        self._ended = False

    async def receive(self) -> Message:
        """The next part of the body, until there are too many."""
        if self._ended:
            return {"type": "http.disconnect"}
        message = await self._receive()
        if message["type"] != "http.request":
            return message
        self._taken += len(message.get("body", b""))
        self._whole = not message.get("more_body", False)
        if self._taken <= self._most:
            return message
        self._ended = True
        if not self._started:
            self.answered = True
            await _refuse(self._scope, self._send, 413, too_much_words(self._most), self._headers)
        return {"type": "http.disconnect"}

    async def send(self, message: Message) -> None:
        """Part of the answer; the connection ends with it where the rest of the body was not wanted."""
        if self.answered:
            return
        if message["type"] == "http.response.start":
            self._started = True
            own = {name for name, _ in self._headers}
            kept = [pair for pair in message.get("headers", ()) if pair[0].lower() not in own]
            last = [] if self._whole else [(b"connection", b"close")]
            message = {**message, "headers": [*kept, *self._headers, *last]}
        await self._send(message)


def security_headers(host: str) -> Headers:
    """What every answer tells the browser: nothing from elsewhere, nothing to elsewhere, no frame round it."""
    policy = "; ".join(f"{what} {where}" for what, where in _POLICY.items()).format(host=host)
    headers = {
        "content-security-policy": policy,
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
        "referrer-policy": "no-referrer",
        "cross-origin-resource-policy": "same-origin",
    }
    if host.rsplit(":", 1)[0] in LOOPBACK or host in LOOPBACK:
        headers["cross-origin-opener-policy"] = (
            "same-origin"  # elsewhere browsers ignore it without https, aloud
        )
    return [(name.encode(), value.encode("latin-1")) for name, value in headers.items()]


def too_much_words(most_bytes: int = MOST_UPLOAD_BYTES) -> str:
    """What is said of a body that is too large, when its length is not known."""
    return f"That is too much: at most {most_bytes / 1e6:.0f} MB are read. Reduce the mesh, or save it as binary STL."


def _from_own_page(scope: Scope, host: str) -> bool:
    """Whether our own page asks, or the maker through the address bar, or a link elsewhere opens the page.

    A browser hides the origin of some of a page's own requests ("null") where no referrer is sent; it says in the
    same breath that they stay on the site.
    """
    site = _one(scope, b"sec-fetch-site")
    origins = _all(scope, b"origin")
    if origins == ["null"]:
        return site == "same-origin"
    if any(_plain_host(origin) != f"http://{host}" for origin in origins) or len(origins) > 1:
        return False
    if site in (None, "same-origin", "none"):
        return True
    return (
        scope["type"] == "http"
        and scope["method"] == "GET"
        and scope["path"] in PAGES
        and _one(scope, b"sec-fetch-mode") == "navigate"
        and _one(scope, b"sec-fetch-dest") == "document"
    )


def _plain_host(text: str) -> str:
    """A host with its port, or an origin, as they are compared: small letters, without the port that is usual."""
    return text.lower().removesuffix(":80")


def _arrived_at(scope: Scope, port: int) -> str | None:
    """The address of this machine at which the connection arrived, as a Host header names it."""
    try:
        address = ip_address((scope.get("server") or ("", 0))[0])
    except ValueError:
        return None
    if isinstance(address, IPv6Address) and address.ipv4_mapped is None:
        return _plain_host(f"[{address}]:{port}")
    return _plain_host(f"{getattr(address, 'ipv4_mapped', None) or address}:{port}")


def _declared_bytes(scope: Scope) -> int:
    """What a request says about its length: 0 where it says nothing, more than any limit where it is no number."""
    text = _one(scope, b"content-length")
    if text is None:
        return 0
    return int(text) if text.isdecimal() and len(text) < 16 else sys.maxsize


def _all(scope: Scope, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key.lower() == name]


def _one(scope: Scope, name: bytes) -> str | None:
    """A header that may stand there once; None when it is missing, "" when it stands there more often."""
    found = _all(scope, name)
    return None if not found else found[0] if len(found) == 1 else ""


async def _refuse(scope: Scope, send: Send, status: int, words: str, headers: Headers) -> None:
    """Answer with one sentence, and end the connection: what else the body holds is not wanted."""
    kind = scope["type"]
    if kind == "websocket" and "websocket.http.response" not in scope.get("extensions", {}):
        await send({"type": "websocket.close", "code": 1008, "reason": words})
        return
    body = f"{words}\n".encode()
    answer = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    start = "websocket.http.response" if kind == "websocket" else "http.response"
    await send({"type": f"{start}.start", "status": status, "headers": [*answer, *headers]})
    await send({"type": f"{start}.body", "body": body, "more_body": False})
