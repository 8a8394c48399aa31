"""The gate round a page that is served in a process of its own: forms that come in, tabs that close, the end."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import pytest
from click.testing import CliRunner

from moldprep.faces.cli import main

ROOT = Path(__file__).parents[3]
MB = bytes(1_000_000)


@dataclass
class Served:
    """A small page, served as the whole one is, in a process of its own."""

    process: subprocess.Popen[str]
    host: str
    folder: Path

    def ask(
        self, path: str, *, method: str = "GET", body: bytes | None = None, **headers: str
    ) -> tuple[int, str]:
        line = http.client.HTTPConnection(*self.host.split(":"), timeout=30)  # type: ignore[arg-type]
        try:
            line.request(
                method, path, body, {name.replace("_", "-"): value for name, value in headers.items()}
            )
            answer = line.getresponse()
            return answer.status, answer.read().decode()
        finally:
            line.close()

    def open_tab(self) -> tuple[str, str]:
        """The tab's id, and where it takes forms."""
        status, text = self.ask("/")
        assert status == 200
        (tab,) = set(re.findall(r"""client_id['"]: ?['"]([\w-]+)""", text))
        (place,) = set(re.findall(r"/form/[\w-]+", text))
        return tab, place

    def folders(self) -> list[Path]:
        return sorted(self.folder.glob("moldprep-*"))


@pytest.fixture
def served(served_by_all: Served) -> Iterator[Served]:
    """The page without a tab."""
    before = set(served_by_all.folders())
    yield served_by_all
    assert set(served_by_all.folders()) <= before, "a test left its tab open"


@pytest.fixture(scope="module")
def served_by_all(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("temporary")
    env = {name: value for name, value in os.environ.items() if name != "PYTEST_CURRENT_TEST"}
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.faces.page.small_page"],
        cwd=ROOT,
        env=env | {"TMPDIR": str(folder), "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    found = re.search(r"http://(\S+)/", process.stdout.readline())
    assert found, process.communicate()
    yield Served(process, found[1], folder)
    process.kill()
    process.communicate()


def handshake(host: str, **headers: str) -> int:
    """The status of a websocket's first answer, at the place where the page listens for one."""
    name, port = host.split(":")
    with socket.create_connection((name, int(port)), timeout=30) as line:
        lines = {"Host": host, "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA==", "Sec-WebSocket-Version": "13"}
        lines |= {"Upgrade": "websocket", "Connection": "Upgrade"} | headers
        text = "".join(f"{key}: {value}\r\n" for key, value in lines.items())
        line.sendall(f"GET /_nicegui_ws/socket.io/?EIO=4&transport=websocket HTTP/1.1\r\n{text}\r\n".encode())
        return int(line.makefile("rb").readline().split()[1])


def test_the_page_s_own_channels_are_guarded_both_ways(served: Served) -> None:
    """Websocket, and the polling that stands in for it."""
    polling = "/_nicegui_ws/socket.io/?EIO=4&transport=polling"
    own, other = f"http://{served.host}", "https://elsewhere.example"
    assert served.ask(polling, Origin=own)[0] == 200
    assert served.ask(polling, Origin=other)[0] == 403
    assert served.ask(polling, Host="rebound.example")[0] == 403
    assert handshake(served.host, Origin=own) == 101
    assert handshake(served.host) == 101
    assert handshake(served.host, Origin=other) == 403
    assert handshake(served.host, Host="rebound.example", Origin="http://rebound.example") == 403


@pytest.mark.parametrize(
    "name",
    [
        "../../x.stl",
        "/etc/x.stl",
        "C:\\x\\..\\y.stl",
        "x\0/y.stl",
        "a" * 5000 + ".stl",
        "..stl.stl",
        "füße 3.STL",
    ],
    ids=["up", "absolute", "drive", "nul", "long", "dots", "letters"],
)
def test_a_maker_s_name_never_becomes_a_path(served: Served, name: str) -> None:
    tab, place = served.open_tab()
    (folder,) = served.folders()
    assert folder.stat().st_mode & 0o777 == 0o700
    status, words = served.ask(place, method="POST", body=b"solid x", X_File_Name=quote(name, safe=""))
    assert (status, words) == (204, "")
    assert [path.name for path in folder.iterdir()] == ["form-1.stl"]
    assert {path.name for path in served.folder.rglob("*")} == {folder.name, "form-1.stl"}
    assert served.ask(f"/closed/{tab}", method="POST")[0] == 204
    assert served.folders() == []


def test_what_is_no_form_is_refused_in_the_command_line_s_words(served: Served) -> None:
    tab, place = served.open_tab()
    refused = CliRunner().invoke(main, ["check", str(ROOT / "README.md")])
    status, words = served.ask(place, method="POST", body=b"x", X_File_Name="README.md")
    assert (status, words) == (422, refused.stderr.strip())
    for name in ("", "stl", "x.stl/", "x.stl.exe"):
        assert served.ask(place, method="POST", body=b"x", X_File_Name=quote(name))[0] == 422
    assert list(served.folders()[0].iterdir()) == []
    assert (
        served.ask(place, method="POST", body=b"x", X_File_Name="x.stl", Origin="https://elsewhere.example")[
            0
        ]
        == 403
    )
    assert served.ask("/form/guessed", method="POST", body=b"x", X_File_Name="x.stl")[0] == 404
    assert served.ask(f"/closed/{tab}", method="POST")[0] == 204


def test_a_tab_that_closes_leaves_another_s_forms_alone(served: Served) -> None:
    one, place = served.open_tab()
    other, other_place = served.open_tab()
    for where in (place, other_place):
        assert served.ask(where, method="POST", body=b"solid x", X_File_Name="x.stl")[0] == 204
    assert len(served.folders()) == 2
    assert served.ask(f"/closed/{one}", method="POST", Origin="null", Sec_Fetch_Site="same-origin")[0] == 204
    (left,) = served.folders()
    assert [path.name for path in left.iterdir()] == ["form-1.stl"]
    assert served.ask(place, method="POST", body=b"x", X_File_Name="x.stl")[0] == 404
    assert served.ask("/closed/not-an-id", method="POST")[0] == 422
    assert served.ask(f"/closed/{other}", method="POST")[0] == 204


def test_half_a_form_is_not_kept(served: Served) -> None:
    tab, place = served.open_tab()
    (folder,) = served.folders()
    name, port = served.host.split(":")
    with socket.create_connection((name, int(port)), timeout=30) as line:
        head = f"POST {place} HTTP/1.1\r\nHost: {served.host}\r\nX-File-Name: x.stl\r\nContent-Length: 9000000\r\n\r\n"
        line.sendall(head.encode() + MB + MB)
        while not list(folder.iterdir()):
            time.sleep(0.01)
    while list(folder.iterdir()):
        time.sleep(0.01)
    assert served.ask(f"/closed/{tab}", method="POST")[0] == 204


def test_ctrl_c_ends_the_server_quietly_and_leaves_nothing(served_by_all: Served) -> None:
    """The module's last: a tab is open, and holds a form."""
    _, place = served_by_all.open_tab()
    assert served_by_all.ask(place, method="POST", body=b"solid x", X_File_Name="x.stl")[0] == 204
    assert len(served_by_all.folders()) == 1
    served_by_all.process.send_signal(signal.SIGINT)
    out, err = served_by_all.process.communicate(timeout=30)
    assert (served_by_all.process.returncode, out, err) == (0, "", "")
    assert served_by_all.folders() == []
    assert not (ROOT / ".nicegui").exists()
