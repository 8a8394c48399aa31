"""The gate in front of the page: who is let in, how much a request may bring, what the browser is told."""

from __future__ import annotations

import asyncio
import http.client
import socket
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
import uvicorn

from moldprep.faces.page.guard import MOST_UPLOAD_BYTES, Guard

PORT = 8640
OWN = f"127.0.0.1:{PORT}"
MB = bytes(1_000_000)
BUFFERS = 32_000_000
"""What two sockets' buffers and the server's reading ahead may still swallow after the server has stopped."""
LINK = {"sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}

Message = dict[str, Any]


async def reads_all(scope: Message, receive: Any, send: Any) -> None:
    """An app that takes every body to its end, or accepts every websocket."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        return
    while (message := await receive())["type"] == "http.request" and message.get("more_body"):
        pass
    if message["type"] == "http.disconnect":
        raise ConnectionError("the body ended early")
    headers = [(b"content-type", b"text/plain"), (b"x-frame-options", b"ALLOW")]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": b"taken"})


async def answers_at_once(scope: Message, receive: Any, send: Any) -> None:
    """An app that wants no body."""
    await send({"type": "http.response.start", "status": 404, "headers": []})
    await send({"type": "http.response.body", "body": b""})


@dataclass
class Heard:
    """What came back, and how many parts of the body were asked for."""

    messages: list[Message]
    parts: int

    @property
    def status(self) -> int:
        return int(self.messages[0]["status"])

    @property
    def headers(self) -> dict[str, str]:
        return {name.decode(): value.decode() for name, value in self.messages[0]["headers"]}

    @property
    def words(self) -> str:
        return b"".join(message.get("body", b"") for message in self.messages).decode()


def ask(
    headers: dict[str, str] | None = None,
    *,
    method: str = "GET",
    path: str = "/",
    body: Iterator[bytes] | None = None,
    kind: str = "http",
    app: Any = reads_all,
    server: tuple[str, int] = ("127.0.0.1", PORT),
    extensions: dict[str, Any] | None = None,
    **settings: Any,
) -> Heard:
    """One request through a guard; headers as a browser's address bar sends them, where nothing else is said."""
    sent = {"host": OWN} | (headers or {})
    scope = {
        "type": kind,
        "method": method,
        "path": path,
        "headers": [(name.encode(), value.encode("latin-1")) for name, value in sent.items() if value],
        "server": server,
        "extensions": extensions or {},
    }
    heard = Heard([], 0)

    async def receive() -> Message:
        part = next(body, None) if body else None
        heard.parts += 1
        return {"type": "http.request", "body": part or b"", "more_body": part is not None}

    async def send(message: Message) -> None:
        heard.messages.append(message)

    asyncio.run(Guard(app, port=PORT, **settings)(scope, receive, send))
    return heard


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "LocalHost", "[::1]"])
def test_a_page_asked_for_by_its_own_name_is_given(name: str) -> None:
    assert ask({"host": f"{name}:{PORT}"}).words == "taken"
    assert ask({"host": f"{name}:{PORT}"}, kind="websocket").messages == [{"type": "websocket.accept"}]


@pytest.mark.parametrize(
    "host",
    [
        "rebound.example",
        f"rebound.example:{PORT}",
        "127.0.0.1",
        f"127.0.0.1:{PORT + 1}",
        f"127.0.0.1:{PORT}.rebound.example",
        f"localhost.:{PORT}",
        f"192.168.1.5:{PORT}",
        "",
    ],
)
def test_another_name_is_refused(host: str) -> None:
    """A site that points its own name at this machine gives itself away by that name."""
    refused = ask({"host": host})
    assert refused.status == 403 and f"http://127.0.0.1:{PORT}/" in refused.words
    assert "rebound" not in refused.words + refused.headers["content-security-policy"]
    assert ask({"host": host}, kind="websocket").messages[0]["type"] == "websocket.close"


def test_two_names_at_once_are_refused() -> None:
    scope_headers = [(b"host", OWN.encode()), (b"host", b"rebound.example")]
    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        return {"type": "http.request"}

    scope = {"type": "http", "method": "GET", "path": "/", "headers": scope_headers}
    asyncio.run(Guard(reads_all, port=PORT)(scope, receive, send))
    assert sent[0]["status"] == 403


def test_the_usual_port_may_be_left_out() -> None:
    async def call(host: str) -> int:
        sent: list[Message] = []

        async def send(message: Message) -> None:
            sent.append(message)

        async def receive() -> Message:
            return {"type": "http.request"}

        headers = [(b"host", host.encode()), (b"origin", b"http://localhost")]
        scope = {"type": "http", "method": "POST", "path": "/", "headers": headers}
        await Guard(reads_all, port=80)(scope, receive, send)
        return int(sent[0]["status"])

    assert [asyncio.run(call(host)) for host in ("localhost", "localhost:80", "localhost:81")] == [
        200,
        200,
        403,
    ]


def test_beyond_loopback_the_address_listened_at_is_a_name_too() -> None:
    asked = {"host": f"192.168.1.5:{PORT}"}
    assert ask(asked, names=["192.168.1.5"]).status == 200
    assert ask(asked, arrival=True, server=("192.168.1.5", PORT)).status == 200
    assert ask(asked, arrival=True, server=("::ffff:192.168.1.5", PORT)).status == 200
    assert ask({"host": f"[fd00::5]:{PORT}"}, arrival=True, server=("fd00::5", PORT)).status == 200
    assert ask(asked, arrival=True, server=("192.168.1.6", PORT)).status == 403
    assert ask({"host": ""}, arrival=True, server=("", 0)).status == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://elsewhere.example"},
        {"origin": f"https://{OWN}"},
        {"origin": f"http://127.0.0.1:{PORT + 1}"},
        {"origin": f"http://localhost:{PORT}"},
        {"origin": f"http://{OWN}.elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "cross-site", "origin": f"http://{OWN}"},
        {"sec-fetch-site": "cross-site", "origin": "null"},
    ],
)
def test_another_site_is_refused(headers: dict[str, str]) -> None:
    """By http in any way, and by websocket, which no browser holds back by itself."""
    for method in ("GET", "POST", "OPTIONS"):
        refused = ask(headers, method=method, path="/form/x")
        assert refused.status == 403 and "Another site" in refused.words
    assert ask(headers, kind="websocket").messages[0]["type"] == "websocket.close"
    told = ask(headers, kind="websocket", extensions={"websocket.http.response": {}})
    assert told.messages[0]["type"] == "websocket.http.response.start"
    assert told.status == 403 and "Another site" in told.words


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": f"http://{OWN}"},
        {"origin": f"http://{OWN}", "sec-fetch-site": "same-origin"},
        {"sec-fetch-site": "none", **LINK},
        {"origin": "null", "sec-fetch-site": "same-origin"},
    ],
)
def test_our_own_page_and_the_address_bar_are_let_in(headers: dict[str, str]) -> None:
    for method in ("GET", "POST"):
        assert ask(headers, method=method, path="/form/x").status == 200
    assert ask(headers, kind="websocket").messages == [{"type": "websocket.accept"}]


def test_a_link_on_another_site_opens_the_page_and_nothing_else() -> None:
    link = {"sec-fetch-site": "cross-site", **LINK}
    assert ask(link).status == 200
    assert ask(link, method="POST").status == 403
    assert ask(link, path="/form/x").status == 403
    assert ask(link | {"sec-fetch-dest": "iframe"}).status == 403
    assert ask(link | {"sec-fetch-mode": "no-cors"}).status == 403
    assert ask(link, kind="websocket").messages[0]["type"] == "websocket.close"


def test_what_a_request_says_about_its_way_here_is_not_passed_on() -> None:
    seen: list[bytes] = []

    async def looks(scope: Message, receive: Any, send: Any) -> None:
        seen.extend(name for name, _ in scope["headers"])
        await answers_at_once(scope, receive, send)

    ask({"x-forwarded-prefix": "/elsewhere", "forwarded": "host=elsewhere", "accept": "*/*"}, app=looks)
    assert seen == [b"host", b"accept"]


def test_every_answer_shuts_the_page_in() -> None:
    for answer in (ask(), ask({"host": "x"}), ask({"content-length": str(10**12)}), ask(app=answers_at_once)):
        headers = answer.headers
        policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
        assert policy["default-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
        words = {word for sources in policy.values() for word in sources.split()}
        inside = {"'self'", "'none'", "data:", "blob:", "'unsafe-inline'", "'unsafe-eval'"}
        assert words - inside == {f"ws://{OWN}"}
        assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "no-referrer"
        assert (
            headers["cross-origin-resource-policy"] == headers["cross-origin-opener-policy"] == "same-origin"
        )
        assert headers["x-frame-options"] == "DENY"
        assert len({name.lower() for name, _ in answer.messages[0]["headers"]}) == len(headers)


def stream(megabytes: int) -> Iterator[bytes]:
    """A body in parts, of which there is one in memory."""
    return iter([MB] * megabytes)


def test_a_body_that_says_it_is_too_large_is_not_read() -> None:
    refused = ask({"content-length": "300000000"}, method="POST", body=stream(300))
    assert (refused.status, refused.parts) == (413, 0)
    assert "at most 250 MB" in refused.words and refused.headers["connection"] == "close"


@pytest.mark.parametrize("lie", ["", "5", "0", "-1", "1e3", "9" * 400])
def test_a_body_that_says_nothing_or_lies_is_read_to_the_limit(lie: str) -> None:
    refused = ask({"content-length": lie, "transfer-encoding": "chunked"}, method="POST", body=stream(300))
    assert refused.status == 413 and "at most 250 MB" in refused.words
    assert refused.parts <= MOST_UPLOAD_BYTES // len(MB) + 1
    assert len(refused.messages) == 2  # the app's own answer to the broken body stays out


def test_a_body_of_just_the_limit_is_taken() -> None:
    whole = MOST_UPLOAD_BYTES // len(MB)
    taken = ask({"content-length": str(MOST_UPLOAD_BYTES)}, method="POST", body=stream(whole))
    assert taken.words == "taken" and "connection" not in taken.headers


def test_a_connection_ends_with_an_answer_that_did_not_wait_for_the_body() -> None:
    early = ask({"content-length": "1000"}, method="POST", app=answers_at_once)
    assert (early.status, early.headers["connection"]) == (404, "close")
    assert "connection" not in ask(app=answers_at_once).headers


def test_an_app_that_fails_of_itself_is_not_hushed() -> None:
    async def fails(scope: Message, receive: Any, send: Any) -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        ask(app=fails)


def test_a_server_stops_reading_soon_after_the_limit_and_answers_the_next_request() -> None:
    door = socket.create_server(("127.0.0.1", 0))
    port = door.getsockname()[1]
    guard = Guard(reads_all, port=port, most_bytes=len(MB))
    server = uvicorn.Server(
        uvicorn.Config(guard, http="h11", ws="none", lifespan="off", log_level="critical")
    )
    thread = threading.Thread(target=server.run, args=([door],))
    thread.start()
    try:
        sent = 0
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.sendall(
                f"POST / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nTransfer-Encoding: chunked\r\n\r\n".encode()
            )
            try:
                while sent < 300 * len(MB):
                    line.sendall(b"%x\r\n%b\r\n" % (len(MB), MB))
                    sent += len(MB)
            except ConnectionError:
                pass
        assert sent < len(MB) + BUFFERS
        again = http.client.HTTPConnection("127.0.0.1", port)
        again.request("POST", "/", b"small")
        assert again.getresponse().read() == b"taken"
        again.close()
    finally:
        server.should_exit = True
        thread.join()
        door.close()
