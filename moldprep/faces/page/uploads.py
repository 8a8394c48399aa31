"""Where a form lands that is dropped on the page: a private folder for each tab, under a name of our own."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from http import HTTPStatus
from pathlib import Path
from secrets import token_urlsafe
from tempfile import TemporaryDirectory
from urllib.parse import unquote

from nicegui import app, background_tasks, ui
from nicegui.element import Element
from nicegui.events import GenericEventArguments
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response

from ...errors import FileError, RequestError
from ...files.read import check_size, type_of
from ...master import FILE_TYPES, FileType
from .guard import MOST_UPLOAD_BYTES

NAME_HEADER = "x-file-name"
"""Carries the maker's name of the file, percent-encoded UTF-8."""
NAME_LETTERS = 100
"""How much of the end of a name is kept to be shown: file systems allow 255 bytes."""
WRITE_BYTES = 1 << 20
"""How much is gathered before it goes to the disk, in a thread of its own."""

LOOKS = Path(__file__).parent / "drop.css"

OnFile = Callable[[Path, str], Awaitable[None]]
OnRefused = Callable[[str], None]


class Landing:
    """The folder of one tab, which this user alone may enter. Files in it are named by their number.

    Belongs to one event loop. `close` removes it with all that is in it; closing twice does no harm.
    """

    def __init__(self, parent: Path | None = None, *, most_bytes: int = MOST_UPLOAD_BYTES) -> None:
        self._folder = TemporaryDirectory(prefix="moldprep-", dir=parent, ignore_cleanup_errors=True)
        self._most = most_bytes
        self._count = 0
        self._landed: list[Path] = []

    @property
    def path(self) -> Path:
        """Where it is."""
        return Path(self._folder.name)

    def close(self) -> None:
        """Remove the folder."""
        self._folder.cleanup()

    def forget_before(self, path: Path) -> None:
        """Remove what landed before this form, when it has taken their place."""
        while path in self._landed[1:]:
            self._landed.pop(0).unlink(missing_ok=True)

    def place(self, name: str) -> Path:
        """Where something else of the tab may lie, under a name of ours such as "plan.zip"."""
        return self.path / Path(name).name

    def put(self, data: bytes, name: str) -> Path:
        """Write a form that is already here; name and errors as `take`."""
        path = self._next(type_of(shown_name(name)))
        try:
            path.write_bytes(data)
        except OSError as error:
            raise _unwritable(shown_name(name), error) from error
        self._landed.append(path)
        return path

    async def take(self, name: str, parts: AsyncIterator[bytes]) -> Path:
        """Write a file that arrives in parts; whole or not at all.

        name is the maker's: its suffix says the format, nothing else of it reaches the disk. Raises FileError for
        a format that is not read, too many bytes, and a disk that is full.
        """
        name = shown_name(name)
        path = self._next(type_of(name))
        try:
            await self._write(path, name, parts)
        except BaseException as error:
            path.unlink(missing_ok=True)
            if isinstance(error, OSError):
                raise _unwritable(name, error) from error
            raise
        self._landed.append(path)
        return path

    def _next(self, file_type: FileType) -> Path:
        self._count += 1
        return self.path / f"form-{self._count}.{file_type}"

    async def _write(self, path: Path, name: str, parts: AsyncIterator[bytes]) -> None:
        gathered = bytearray()
        taken = 0
        with path.open("xb") as file:
            async for part in parts:
                taken += len(part)
                check_size(name, taken, self._most)
                gathered += part
                if len(gathered) >= WRITE_BYTES:
                    await asyncio.to_thread(file.write, bytes(gathered))
                    gathered.clear()
            await asyncio.to_thread(file.write, bytes(gathered))


def shown_name(name: str) -> str:
    """The maker's name of a file as it is shown: without folders, signs that do not print, and excess length."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(letter for letter in last if letter.isprintable())[-NAME_LETTERS:].strip() or "form"


def upload_area(landing: Landing, on_file: OnFile, on_refused: OnRefused) -> Element:
    """An area to drop a form on, or to choose one with: by mouse, keyboard or finger.

    on_file: awaited with where the form lies and the maker's name for it, in the page's context, when it is there
    whole. It lies there until `on_file` has taken the next one, or the landing closes; when `on_file` raises a
    RequestError, the new one goes instead. on_refused: called with one sentence for what is not taken.

    Classes to style: mp-drop, mp-drop-over (a file is held over it), mp-drop-busy (one is on its way),
    mp-drop-words, mp-drop-choose, mp-drop-note, mp-drop-bar.
    """
    ui.add_css(LOOKS)
    return _Drop(landing, on_file, on_refused)


class _Drop(Element, component="drop.js"):
    """The area itself, with the route to which its browser side sends."""

    def __init__(self, landing: Landing, on_file: OnFile, on_refused: OnRefused) -> None:
        super().__init__()
        self._landing = landing
        self._on_file = on_file
        self._on_refused = on_refused
        self._url = f"/form/{token_urlsafe(24)}"
        self._props |= {
            "url": self._url,
            "suffixes": [f".{file_type}" for file_type in FILE_TYPES],
            "most": MOST_UPLOAD_BYTES,
            "note": f"STL, OBJ, PLY or 3MF, up to {MOST_UPLOAD_BYTES / 1e6:.0f} MB",
        }
        app.add_route(self._url, self._receive, methods=["POST"])
        self.on("refused", self._refused)

    async def _receive(self, request: Request) -> Response:
        """A form on its way in; answers with one sentence when it is not taken."""
        name = shown_name(unquote(request.headers.get(NAME_HEADER, "")))
        try:
            path = await self._landing.take(name, request.stream())
        except FileError as error:
            return PlainTextResponse(str(error), HTTPStatus.UNPROCESSABLE_ENTITY)
        except ClientDisconnect:
            return Response(status_code=HTTPStatus.BAD_REQUEST)  # nobody is there to read it
        around = self.parent_slot or self.client
        background_tasks.create(self._arrived(path, name), name="a form has arrived", context=around)
        return Response(status_code=HTTPStatus.NO_CONTENT)

    async def _arrived(self, path: Path, name: str) -> None:
        try:
            await self._on_file(path, name)
        except RequestError as error:
            path.unlink(missing_ok=True)
            self._on_refused(str(error))
        else:
            self._landing.forget_before(path)

    def _refused(self, event: GenericEventArguments) -> None:
        """What the browser side did not send at all, in the command line's words."""
        why, name, count = (event.args.get(key) for key in ("why", "name", "count"))
        self._on_refused(refused_words(str(why), shown_name(str(name)), int(count or 0)))

    def _handle_delete(self) -> None:
        app.remove_route(self._url)
        super()._handle_delete()


def refused_words(why: str, name: str, count: int) -> str:
    """One sentence for a file that the browser did not send.

    why: "many" (count files), "none" (something else than a file), "large" (count bytes), "type", "lost"; all
    else is a sentence already.
    """
    if why == "many":
        return f"{count} files were given, and one form is read at a time. Give the form's file alone."
    if why == "none":
        return "What was dropped is no file. Drop an STL, OBJ, PLY or 3MF file."
    if why == "lost":
        return f"{name} did not arrive whole. Look whether moldprep still runs, and drop it again."
    try:
        if why == "large":
            check_size(name, count, MOST_UPLOAD_BYTES)
        elif why == "type":
            type_of(name)
    except FileError as error:
        return str(error)
    return why[:300]


def _unwritable(name: str, error: OSError) -> FileError:
    return FileError(
        f"{name} cannot be kept while it is read: {error.strerror}.",
        code="upload-unwritable",
        remedy="Make room on the disk for temporary files.",
    )
