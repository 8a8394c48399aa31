"""The page's server: how it is set up, what it says on the terminal, how it ends."""

from __future__ import annotations

import logging
import signal
import socket
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

import click
import uvicorn
from fastapi import FastAPI
from nicegui import app, core, ui

from .door import EVERYWHERE, host_name, is_loopback, opened_door, reachable_at, url
from .guard import Guard
from .tabs import end_with_their_tabs

RECONNECT_S = 2 * 3600.0
"""How long a tab that lost its connection (a laptop or a phone asleep) finds everything as it was. A tab that is
closed says so."""
PING_S, PONG_S = 25.0, 20.0
"""How often a browser is asked whether it is there, and how long it has to answer."""
CLOSING_S = 3
"""How long requests may still take when the server ends."""
ENDS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
"""Ctrl-C, being told to end, and a closed terminal, by the names of different systems."""

FAVICON = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32">
<rect x="2" y="4" width="28" height="25" rx="3" fill="#efe7d8" stroke="#6f5a49" stroke-width="1.5"/>
<path d="M12 4c0 5 1 6-2 9-4 5-2 12 3 12h6c5 0 7-7 3-12-3-3-2-4-2-9z" fill="#b5714a"/>
<path d="M16 2v29" stroke="#6f5a49" stroke-width="1.2"/>
</svg>"""
"""A mold of two halves round a vase."""


@dataclass(frozen=True)
class Settings:
    """What the page is opened with. form: shown at once; library: the studio's file, made when first used;
    shared: whether others can reach the page."""

    form: Path | None
    library: Path
    shared: bool = False


def serve(
    build: Callable[[Settings], None], *, form: Path | None, port: int, listen: str, library: Path, show: bool
) -> None:
    """Serve the page until Ctrl-C; at most once in a process.

    build registers the page. Says in one line where the page is, and warns where others can reach it; opens the
    browser when `show`. Raises RequestError when nothing can listen there.
    """
    with closing(opened_door(listen, port)) as door:
        address, free = door.getsockname()[:2]
        build(Settings(form, library, shared=not is_loopback(address)))
        end_with_their_tabs()
        outer = FastAPI(openapi_url=None)
        ui.run_with(
            outer,
            title="moldprep",
            favicon=FAVICON,
            dark=False,
            language="en-US",
            reconnect_timeout=RECONNECT_S,
            show_welcome_message=False,
        )
        app.on_startup(_ask_often)
        logging.getLogger("nicegui").setLevel(logging.ERROR)  # it tells of every address that does not exist
        everywhere = address in EVERYWHERE
        names = [] if everywhere else [host_name(listen), host_name(address)]
        guard = Guard(outer, port=free, names=names, arrival=everywhere)
        _Server(guard, lambda: _announce(listen, address, port, free, show)).run(sockets=[door])


class _Server(uvicorn.Server):
    """Says when it has started, and ends by itself on Ctrl-C."""

    def __init__(self, guard: Guard, announce: Callable[[], None]) -> None:
        config = uvicorn.Config(
            guard,
            http="h11",
            ws="wsproto",
            lifespan="on",
            log_level="error",
            access_log=False,
            proxy_headers=False,
            server_header=False,
            timeout_graceful_shutdown=CLOSING_S,
        )
        super().__init__(config)
        self._announce = announce

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen, and say where."""
        await super().startup(sockets)
        if self.lifespan.should_exit:
            raise RuntimeError("the page's server did not start")
        if self.started:
            self._announce()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End, and say nothing of requests that were waiting for an answer."""
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
        await super().shutdown(sockets)

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """End when told to, and leave it at that: the base class raises the signal once more afterwards."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = {
            number: signal.signal(number, self.handle_exit)
            for number in (getattr(signal, name) for name in ENDS if hasattr(signal, name))
            if number == signal.SIGINT or signal.getsignal(number) is not signal.SIG_IGN  # as nohup asks for
        }
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


def _announce(listen: str, address: str, wanted: int, free: int, show: bool) -> None:
    own = "127.0.0.1" if address in EVERYWHERE else listen
    taken = f" Port {wanted} is taken." if wanted not in (0, free) else ""
    click.echo(f"moldprep's page is at {url(own, free)}; end it with Ctrl-C.{taken}")
    if not is_loopback(address):
        others = " and ".join(url(one, free) for one in reachable_at(address)) or "this machine"
        click.echo(
            f"Warning: whoever in the network reaches {others} can see the forms and the studio's library on this "
            "page, and change them. There is no password. Leave --listen out for this machine alone.",
            err=True,
        )
    if show:
        threading.Thread(target=_open_browser, args=(url(own, free),), daemon=True).start()


def _open_browser(address: str) -> None:
    """Open the maker's browser; one that would take over the terminal stays closed."""
    try:
        browser = webbrowser.get()
    except webbrowser.Error:
        return
    if type(browser) is not webbrowser.GenericBrowser:
        browser.open(address)


def _ask_often() -> None:
    """The framework derives these from how long it waits for a tab to come back; a lost one is seen much sooner."""
    core.sio.eio.ping_interval = PING_S
    core.sio.eio.ping_timeout = PONG_S
