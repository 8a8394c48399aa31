"""The studio's part of the page: what the library keeps, and what goes from it into the present job."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from nicegui import ui

from ...errors import RequestError
from .keeping.clays import Clays, Slips
from .keeping.desk import Current, Desk, OpenForm, UseJob
from .keeping.jobs import Jobs
from .keeping.molds import Molds
from .keeping.parts import text
from .keeping.sharing import Sharing
from .keeping.words import Lengths
from .library import Holdings, Library

__all__ = ["Current", "StudioPart"]

LOOKS = Path(__file__).parent / "studio.css"


class StudioPart:
    """The studio, rendered into the container that is current when it is built. Belongs to one tab.

    current: what the page shows when it is asked; use_job: puts a job into the page, with the saved job that it
    comes from, if any; open_form: opens a form from its bytes and the maker's name for it, with a job. Both may
    raise RequestError, which is said.
    """

    def __init__(
        self,
        library: Library,
        units: Lengths,
        *,
        current: Callable[[], Current],
        use_job: UseJob,
        open_form: OpenForm,
    ) -> None:
        self._library, self._units = library, units
        self._current, self._use_job, self._open_form = current, use_job, open_form
        self._desk: Desk | None = None
        """None until it is built: the library is folded away at first."""
        self._sections: tuple[Jobs | Clays | Slips | Molds | Sharing, ...] = ()

    def build(self) -> None:
        """Render all sections; what the library holds follows as soon as it is read."""
        ui.add_css(LOOKS)
        with ui.element("div").classes("mp-studio") as self._root:
            self._failed = text("p", "", "mp-wrong")
            self._failed.props["role"] = "alert"
            self._inside = ui.element("div").classes("mp-sections")
            self._build()
            ui.timer(0.0, self.refresh, once=True)

    async def refresh(self) -> None:
        """Show what the library holds now: after another window wrote, or when the part comes into sight."""
        assert self._desk is not None
        try:
            await self._desk.refresh()
        except RequestError as error:
            self._failed.text = str(error)
        else:
            self._failed.text = ""

    async def show_in(self, units: Lengths) -> None:
        """Show lengths in other units; what was being typed is gone."""
        self._units = units
        if self._desk is None:
            return
        self._inside.clear()
        self._build()
        await self.refresh()

    def _build(self) -> None:
        desk = Desk(self._library, self._units, self._current, self._use_job, self._open_form, self._show)
        self._desk = desk
        with self._inside:
            self._sections = (Jobs(desk), Clays(desk), Slips(desk), Molds(desk), Sharing(desk))

    def _show(self, held: Holdings) -> None:
        for section in self._sections:
            section.show(held)
