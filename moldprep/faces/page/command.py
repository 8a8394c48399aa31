"""What `moldprep page` does before anything of the page is imported."""

from __future__ import annotations

import os
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path

import click

from ...errors import RequestError
from ...files.read import check_file
from ..exits import OK

SILENCED = {"OTEL_SDK_DISABLED": "true", "FASTAPI_OTEL_AUTO_CONFIGURE": "false"}
"""Under these settings the page's framework sends nothing about its use, whatever else the environment says."""
ELSEWHERE = ("NICEGUI_REDIS_URL",)
"""Settings by which the framework would keep its memory on another machine."""


def usual_library() -> Path:
    """The studio's library where nothing else is said."""
    return Path(click.get_app_dir("moldprep")) / "studio.db"


def open_page(*, form: Path | None, port: int, listen: str, library: Path | None, show: bool) -> int:
    """Serve the page until Ctrl-C; gives the exit status.

    Raises RequestError where the page's packages are missing, and as `serve.serve`; FileError as `check_file`.
    """
    if find_spec("nicegui") is None:
        raise RequestError(
            "The page needs packages that are not installed.",
            code="page-missing",
            remedy='Install them with: pip install "moldprep[page]"',
        )
    if form is not None:
        check_file(form)
    if library is None:
        library = usual_library()
        with suppress(OSError):  # the page works without; the library says it when it is used
            library.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    os.environ.update(SILENCED)
    for name in ELSEWHERE:
        os.environ.pop(name, None)
    try:
        from .page import build
        from .serve import serve

        serve(build, form=form, port=port, listen=listen, library=library, show=show)
    except KeyboardInterrupt:
        pass  # before the server itself listens for it
    return OK
