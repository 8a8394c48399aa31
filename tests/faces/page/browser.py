"""A browser without a window, and pages served to it from a process of their own."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).parents[3]
NAMES = ("chromium", "chromium-browser", "google-chrome")
SOFTWARE_3D = ("--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader")
"""WebGL drawn by the processor, so that it is there on machines without a screen."""
SERVER_STARTS_S = 60.0


@contextmanager
def browser(*, webgl: bool = True) -> Iterator[Browser]:
    """The Chromium on the path, without a window; closed at the end. webgl: whether it can show 3D."""
    path = next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        raise RuntimeError(f"these tests look at the page in a browser; put one on the path: {NAMES}")
    args = SOFTWARE_3D if webgl else ("--no-sandbox", "--disable-gpu", "--disable-3d-apis")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=list(args))
        try:
            yield chromium
        finally:
            chromium.close()


@contextmanager
def serving(module: str, *args: str) -> Iterator[str]:
    """The address of a page that `python -m module PORT args` serves on this machine, until the end."""
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    # nicegui would take a server that knows of a running test for its own test server
    surroundings = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST")}
    server = subprocess.Popen([sys.executable, "-m", module, str(port), *args], cwd=ROOT, env=surroundings)
    try:
        _wait_for(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(timeout=10)


def free_port() -> int:
    """A port that nothing listens on now."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def _wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + SERVER_STARTS_S
    while time.monotonic() < end:
        if server.poll() is not None:
            raise RuntimeError(f"the server for {address} ended at once with status {server.returncode}")
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return
        except urllib.error.HTTPError:
            return  # it answers
        except OSError:
            time.sleep(0.1)
    raise RuntimeError(f"nothing answered at {address} within {SERVER_STARTS_S:g} s")
