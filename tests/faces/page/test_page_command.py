"""The command that opens the page: its options, what it refuses, and where it listens."""

from __future__ import annotations

import os
import socket
import sys
import types
import webbrowser
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from moldprep.errors import RequestError
from moldprep.faces.cli import main
from moldprep.faces.page import command, serve
from moldprep.faces.page.command import usual_library
from moldprep.faces.page.door import is_loopback, opened_door, reachable_at, url
from tests.samples import FOLDER


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[dict[str, object]]:
    """What the command hands to the server, which is not started."""
    given: dict[str, object] = {}
    page = types.ModuleType("moldprep.faces.page.page")
    page.build = lambda settings: None  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, page.__name__, page)
    monkeypatch.setattr(serve, "serve", lambda build, **rest: given.update(rest, build=build))
    monkeypatch.setattr(click, "get_app_dir", lambda name: str(tmp_path / "settings" / name))
    for name in (*command.SILENCED, *command.ELSEWHERE):
        monkeypatch.setenv(name, "redis://elsewhere.example")
    yield given


def test_the_page_opens_on_this_machine_alone_unless_asked_otherwise(asked: dict[str, object]) -> None:
    result = CliRunner().invoke(main, ["page"])
    assert (result.exit_code, result.output) == (0, "")
    assert asked.pop("build")
    assert asked == {
        "form": None,
        "port": 8640,
        "listen": "127.0.0.1",
        "library": usual_library(),
        "show": True,
    }
    assert usual_library().parent.is_dir() and not usual_library().exists()


def test_options_go_to_the_server(asked: dict[str, object], tmp_path: Path) -> None:
    form, library = FOLDER / "mug.stl", tmp_path / "own.db"
    words = [
        "page",
        str(form),
        "--port",
        "0",
        "--listen",
        "0.0.0.0",
        "--library",
        str(library),
        "--no-browser",
    ]
    assert CliRunner().invoke(main, words).exit_code == 0
    del asked["build"]
    assert asked == {"form": form, "port": 0, "listen": "0.0.0.0", "library": library, "show": False}


def test_the_framework_is_told_to_send_nothing(
    asked: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    CliRunner().invoke(main, ["page"])
    assert {name: os.environ[name] for name in command.SILENCED} == command.SILENCED
    assert not set(command.ELSEWHERE) & set(os.environ)


@pytest.mark.parametrize(
    ("words", "cure"),
    [
        (["no-such.stl"], "Look at the name"),
        ([str(FOLDER / "README.md")], "Export the form as STL"),
        (["--port", "70000"], "0<=x<=65535"),
    ],
)
def test_what_cannot_be_opened_is_said_in_one_line(
    asked: dict[str, object], words: list[str], cure: str
) -> None:
    result = CliRunner().invoke(main, ["page", *words])
    assert result.exit_code == 2 and result.stdout == "" and not asked
    assert len(result.stderr.strip().splitlines()) == 1 and cure in result.stderr


def test_without_its_packages_the_page_says_how_to_get_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "find_spec", lambda name: None)
    result = CliRunner().invoke(main, ["page"])
    assert result.exit_code == 2 and result.stdout == ""
    assert len(result.stderr.strip().splitlines()) == 1 and 'pip install "moldprep[page]"' in result.stderr


def test_ctrl_c_before_the_server_listens_ends_it_too(
    asked: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    def pressed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(serve, "serve", pressed)
    result = CliRunner().invoke(main, ["page"])
    assert (result.exit_code, result.output) == (0, "")


def test_a_taken_port_gives_the_next_free_one() -> None:
    with closing(opened_door("127.0.0.1", 0)) as first:
        first.listen()
        port = first.getsockname()[1]
        with closing(opened_door("127.0.0.1", port)) as second:
            assert second.getsockname()[0] == "127.0.0.1"
            assert second.getsockname()[1] not in (port, 0)


def test_a_name_for_this_machine_is_an_address_too() -> None:
    with closing(opened_door("localhost", 0)) as found:
        assert is_loopback(found.getsockname()[0])


def test_an_address_of_another_machine_is_refused() -> None:
    """192.0.2.1 is kept for documents (RFC 5737): no machine has it."""
    with pytest.raises(RequestError, match=r"192\.0\.2\.1") as caught:
        opened_door("192.0.2.1", 0)
    assert "--listen" in caught.value.remedy


def test_a_port_that_is_not_for_everybody_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def forbids(self: socket.socket, address: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(socket.socket, "bind", forbids, raising=False)
    with pytest.raises(RequestError, match="Port 80 ") as caught:
        opened_door("127.0.0.1", 80)
    assert "1024" in caught.value.remedy


@pytest.mark.parametrize(
    ("address", "alone"),
    [
        ("127.0.0.1", True),
        ("127.3.2.1", True),
        ("::1", True),
        ("0.0.0.0", False),
        ("::", False),
        ("fe80::1%2", False),
    ],
)
def test_only_loopback_is_reached_by_this_machine_alone(address: str, alone: bool) -> None:
    assert is_loopback(address) is alone


def test_addresses_are_written_as_a_browser_takes_them() -> None:
    assert url("127.0.0.1", 8640) == "http://127.0.0.1:8640/"
    assert url("::1", 8640) == "http://[::1]:8640/"
    assert reachable_at("192.168.1.5") == ["192.168.1.5"]
    assert not any(is_loopback(found) for found in reachable_at("0.0.0.0"))


def announced(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[str, str]:
    serve._announce(*words, show=False)  # type: ignore[arg-type]
    return capsys.readouterr()


def test_one_line_says_where_the_page_is(capsys: pytest.CaptureFixture[str]) -> None:
    out, err = announced(capsys, "127.0.0.1", "127.0.0.1", 8640, 8640)
    assert out == "moldprep's page is at http://127.0.0.1:8640/; end it with Ctrl-C.\n" and err == ""
    out, err = announced(capsys, "127.0.0.1", "127.0.0.1", 8640, 8641)
    assert ":8641/" in out and "8640 is taken" in out and out.count("\n") == 1 and err == ""


def test_a_page_that_others_reach_warns_that_there_is_no_password(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "reachable_at", lambda address: ["192.168.1.5", "10.0.0.7"])
    out, err = announced(capsys, "0.0.0.0", "0.0.0.0", 8640, 8640)
    assert "http://127.0.0.1:8640/" in out
    assert all(f"http://{one}:8640/" in err for one in ("192.168.1.5", "10.0.0.7")) and "no password" in err


def test_a_browser_in_the_terminal_stays_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []

    def opens(self: webbrowser.BaseBrowser, url: str, new: int = 0, autoraise: bool = True) -> bool:
        opened.append(url)
        return True

    def finds_none() -> webbrowser.BaseBrowser:
        raise webbrowser.Error

    monkeypatch.setattr(webbrowser.GenericBrowser, "open", opens)
    monkeypatch.setattr(webbrowser.BackgroundBrowser, "open", opens)
    for get in (lambda: webbrowser.GenericBrowser("in the terminal"), finds_none):
        monkeypatch.setattr(webbrowser, "get", get)
        serve._open_browser("http://127.0.0.1:8640/")
    assert opened == []
    monkeypatch.setattr(webbrowser, "get", lambda: webbrowser.BackgroundBrowser("in a window"))
    serve._open_browser("http://127.0.0.1:8640/")
    assert opened == ["http://127.0.0.1:8640/"]
