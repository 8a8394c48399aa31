"""The form in 3D: as plaster lets go of it, or as the mold drawn apart."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence

from nicegui import background_tasks, ui

from .asking.entry import text
from .messages import Planned
from .picking import Pick
from .ranges import Range
from .results import Json, place_words
from .scene import FormScene
from .state import Tab
from .units import Units

APART = 0.5
"""How far a mold is drawn apart at first."""
SHOWN = {"faces": "In one piece", "parted": "In this mold", "pieces": "The mold apart"}
"""What the picture shows: faces by how they let go of one piece that is drawn upward, or of the piece of the mold
that touches them; or the mold."""
CLASSES = (
    ("free", "free: plaster lets go"),
    ("tight", "tight: less draft than asked"),
    ("locked", "locked: it cannot leave"),
)


class ViewPart:
    """The 3D view with its controls. on_seam: a level seam, by number, is held at a height, or let go there."""

    def __init__(
        self, tab: Tab, units: Units, *, on_seam: Callable[[int, float, bool], Awaitable[None]]
    ) -> None:
        self._tab, self._units = tab, units
        self._on_seam = on_seam
        self._shown = "faces"

    def build(self) -> None:
        self._scene = FormScene(on_seam=self._moved, on_mark=self._marked)
        self._scene.element.classes("page-empty")
        with ui.element("div").classes("page-view-controls"):
            self._choice = Pick("What is shown", SHOWN, self._shown, self._show)
            self._all = ui.button("All of it", on_click=self._whole).props("flat dense no-caps")
        with ui.element("div").classes("page-legend") as self._legend:
            for kind, says in CLASSES:
                with ui.element("span").classes("page-swatch"):
                    ui.element("i").classes(f"page-{kind}")
                    ui.label(says)
        self._place = text("p", "", "page-place")
        self._place.props["role"] = "status"
        with ui.element("div").classes("page-sliders") as self._sliders:
            for says, move, start in (
                ("Drawn apart", self._scene.apart, APART),
                ("See through", self._scene.see_through, 0.0),
            ):
                Range(says, low=0, high=1, step=0.02, value=start, on_move=move)
        self._scene.apart(APART)
        self._choice.element.set_visibility(False)
        self._all.set_visibility(False)
        self._sliders.set_visibility(False)
        self._legend.set_visibility(False)

    def refresh(self) -> None:
        """Another form, or another mold."""
        self._place.set_text("")
        first = self._tab.planned is not None and not self._choice.element.visible
        self._choice.element.set_visibility(self._tab.planned is not None)
        if self._tab.planned is None or first:
            self._shown = "pieces" if first else "faces"
            self._choice.put(self._shown)
            self._scene.whole()
        there = self._tab.looked is not None
        self._scene.element.classes(**{"remove" if there else "add": "page-empty"})
        self._all.set_visibility(there)
        if not there:
            self._scene.empty()
        self._draw()

    def fly_to(self, where: Sequence[float]) -> None:
        """Show a place of the form; locked places are seen on the faces, not in the closed mold."""
        self._show("faces")
        x, y, z = where
        self._scene.fly_to((x, y, z))
        self._place.set_text("")
        # on a narrow screen the picture lies pages above what is pressed
        ui.run_javascript(f"getHtmlElement({self._scene.element.id}).scrollIntoView({{ block: 'nearest' }})")

    def show_place(self, place: Json) -> None:
        """Go to a locked place, and say what it is."""
        self.fly_to(place["where"])
        self._say(place)

    def set_units(self, units: Units) -> None:
        """Show lengths in other units."""
        self._units = units
        self._place.set_text("")

    def hold(self, planes_mm: tuple[float, ...]) -> None:
        """Seams are held at these heights."""
        for number, height in enumerate(planes_mm):
            self._scene.move_plane(number, height)

    def tell_price(self) -> None:
        """What the seams cost where they are held, beside the picture in which they are moved."""
        seam = self._tab.seam
        if seam is None:
            self._place.set_text("")
            return
        length = self._units.length(seam.level_mm + seam.upright_mm)
        heights = ", ".join(self._units.length(height) for height in seam.planes_mm)
        where = f"Held at {heights}" if heights else "Held so"
        self._place.set_text(
            f"{where}: {seam.locked_mm3 / 1000:.1f} mL stay locked, {length} of seam in all."
        )

    def _whole(self) -> None:
        self._scene.whole()
        self._place.set_text("")

    def _marked(self, number: int) -> None:
        """A number in the picture was pressed; the picture itself goes there."""
        for place in self._tab.looked.record["pulls"][0]["places"] if self._tab.looked else ():
            if place["number"] == number:
                self._say(place)

    def _say(self, place: Json) -> None:
        self._place.set_text(f"Locked place {place['number']}: {place_words(place, self._units)}.")

    def _moved(self, number: int, height_mm: float, let_go: bool) -> None:
        background_tasks.create(self._on_seam(number, height_mm, let_go), context=self._choice.element)

    def _show(self, what: str) -> None:
        if what != self._shown:
            self._shown = what
            self._choice.put(what)
            self._draw()
            self._scene.whole()

    def _draw(self) -> None:
        tab = self._tab
        self._legend.set_visibility(self._shown != "pieces" and tab.looked is not None)
        self._sliders.set_visibility(self._shown == "pieces")
        if tab.planned is not None and self._shown == "pieces":
            self._draw_parts(tab.planned)
        elif tab.looked is not None and tab.planned is not None and self._shown == "parted":
            self._scene.show_classes(tab.keep("parted", "glb", tab.planned.classes), tab.looked.bounds, ())
        elif tab.looked is not None:
            places = tab.looked.record["pulls"][0]["places"]
            url = tab.keep("faces", "glb", tab.looked.classes)
            self._scene.show_classes(
                url, tab.looked.bounds, [(one["number"], tuple(one["where"])) for one in places]
            )
        self._draw_planes()

    def _draw_parts(self, planned: Planned) -> None:
        self._scene.show_parts(
            [
                (
                    part.letter,
                    part.name,
                    part.tint,
                    part.apart,
                    self._tab.keep(f"part{part.letter}", "glb", part.glb),
                )
                for part in planned.parts
            ],
            planned.bounds,
        )

    def _draw_planes(self) -> None:
        """Level seams may be moved where the stack stands upright."""
        record, planned = self._tab.record, self._tab.planned
        if record is None or planned is None or abs(record["parting"]["axis"][2]) < 1 - 1e-9:
            self._scene.planes((), most=1.0)
        else:
            self._scene.planes(record["parting"]["planes"], most=planned.highest_mm, inches=self._units.inch)
