"""A page with nothing but the area to drop a form on, served as the whole one is: `python -m tests.faces.page.small_page`."""

from __future__ import annotations

from pathlib import Path

from nicegui import ui

from moldprep.faces.page.serve import Settings, serve
from moldprep.faces.page.uploads import Landing, upload_area


def build(settings: Settings) -> None:
    @ui.page("/")
    def index() -> None:
        landing = Landing()
        ui.context.client.on_delete(landing.close)
        said = ui.label().classes("said")

        async def arrived(path: Path, name: str) -> None:
            said.set_text(f"{name}: {path.stat().st_size} bytes")

        upload_area(landing, arrived, said.set_text)


if __name__ == "__main__":
    serve(build, form=None, port=0, listen="127.0.0.1", library=Path("studio.db"), show=False)
