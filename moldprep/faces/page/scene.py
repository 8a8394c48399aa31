"""The form and its mold in 3D: classes with numbered places, seams that can be moved, parts drawn apart.

On nicegui's scene, which brings its own three.js. What stands on it are scene objects with a script each, in
`stage/`: the scene makes them anew by itself after the page's graphics context was lost, so their `args` are kept
as they are now. Millimetres, z up, as in the casting pose.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from nicegui import ui
from nicegui.elements.scene.scene_object3d import Object3D
from nicegui.events import GenericEventArguments

from ...errors import Point

Bounds = tuple[Point, Point]
PAPER = "#f6f1e7"
LABEL = "The form in 3D. Arrow keys turn it, plus and minus bring it nearer or farther, Home shows all of it."
LOADING = "The 3D view is being fetched."
NO_WEBGL = (
    "This browser cannot show the form in 3D (WebGL is off). Everything else on this page works without it."
)
LOST = "The 3D view was put away by the graphics card. Click here to show it again."
PLACE = "Show locked place {}"
LEAST_OPACITY = 0.18
"""Of pieces that are seen through as far as can be."""
_FOLDER = Path(__file__).parent / "stage"
_EMPTY: Bounds = ((-50.0, -50.0, 0.0), (50.0, 50.0, 100.0))
_FOV_DEG = 30.0
_FRAMES = 30
_BESIDE_DEG = 32.0
"""The eye looks along the seam of halves, turned by this, so that one half shows its inside."""


class _Stage(Object3D, component=_FOLDER / "stage.js"):
    """Light, camera and keys."""


class _Solid(Object3D, component=_FOLDER / "solid.js"):
    """A GLB; a part of the mold, or the form by its classes."""

    def __init__(
        self, url: str, *, at: Point, instead: Sequence[str] = (), part: dict[str, Any] | None = None
    ) -> None:
        super().__init__(url, {"seams": part is None, "part": part, "at": at, "instead": list(instead)})
        self.with_name(part["name"] if part else "form")


class _Marks(Object3D, component=_FOLDER / "marks.js"):
    """Numbers beside places."""


class _Seams(Object3D, component=_FOLDER / "seams.js"):
    """Planes with handles."""


class FormScene:
    """The 3D element; it fills its container's width, 60 % of the window's height unless the style variable
    `--form-scene-height` says otherwise, and shows one thing at a time: classes or parts.

    on_seam: called with a plane's number, its height in mm and whether it was let go, while the visitor moves a
    plane, at most about twenty times a second. on_mark: the number of a mark that was clicked.
    """

    def __init__(
        self,
        *,
        on_seam: Callable[[int, float, bool], None],
        on_mark: Callable[[int], None] | None = None,
        paper: str = PAPER,
        label: str = LABEL,
    ) -> None:
        self._on_seam, self._on_mark = on_seam, on_mark
        self._bounds = _EMPTY
        self._heights: list[float] = []
        self._most = 0.0
        self._inches = False
        self._share = 0.0
        self._opacities = (1.0, 1.0)
        self._solids: list[tuple[_Solid, Point, bool]] = []
        self._marks: _Marks | None = None
        ui.add_css(_FOLDER / "scene.css")
        with ui.element("div").classes("form-scene").style(f"--form-scene-paper: {paper}") as self.element:
            note = ui.label(LOADING).classes("form-scene-note")
            camera = ui.scene.perspective_camera(fov=_FOV_DEG, near=1, far=10_000)
            self._scene = ui.scene(
                grid=False, camera=camera, background_color=paper, fps=_FRAMES, click_events=[]
            )
        self._scene.on("vnodeMounted", js_handler=_noting(note.id))
        with self._scene:
            self._stage = _Stage(self._scene.id, self._bounds, {"label": label, "lost": LOST})
            with self._stage:
                self._seams = _Seams([], 0.0, self._bounds, False)
        # the scene's own handler, which came first, has made everything and set its camera
        self._scene.on("init", lambda: _tell(self._stage, "begin"), args=[])
        self._scene.on("seam", self._moved, args=[["plane", "height", "done"]])
        self._scene.on("mark", self._clicked, args=[["number"]])

    def show_classes(self, url: str, bounds: Bounds, places: Sequence[tuple[int, Point]]) -> None:
        """The form by its classes (a GLB of `sheet.views.class_view`), with numbered marks at its places."""
        self._show([(url, None)], bounds)
        self._mark(places)
        self._send_planes()

    def show_parts(self, parts: Sequence[tuple[str, str, str, Point, str]], bounds: Bounds) -> None:
        """Master and pieces: letter ("" for the master), name, tint, the way apart in mm, URL of a GLB."""
        self._show(
            [
                (url, {"letter": letter, "name": name, "tint": tint, "apart": apart})
                for letter, name, tint, apart, url in parts
            ],
            bounds,
        )
        self._mark(())
        self._send_planes()
        self._place()
        self._clear()

    def empty(self) -> None:
        """Nothing: the form is another one, and not there yet."""
        for solid, _, _ in self._solids:
            solid.delete()
        self._solids = []
        self._mark(())
        self._send_planes()

    def apart(self, share: float) -> None:
        """Parts between where they stand in the closed mold (0) and wholly apart (1)."""
        self._share = min(max(float(share), 0.0), 1.0)
        self._place()
        _tell(self._stage, "follow")

    def see_through(self, share: float, *, master: float = 0.0) -> None:
        """How far pieces, and the master, are seen through: 0 solid, 1 as clear as can be."""
        pieces, own = (1 - (1 - LEAST_OPACITY) * min(max(float(s), 0.0), 1.0) for s in (share, master))
        self._opacities = (pieces, own)
        self._clear()

    def planes(self, heights: Sequence[float], *, most: float, inches: bool = False) -> None:
        """Level seam planes at heights from 0 to `most`, lowest first; the handles say them in mm or inches.

        They are shown with the classes and put away while parts are shown.
        """
        self._heights, self._most, self._inches = [float(h) for h in heights], float(most), inches
        self._send_planes()

    def move_plane(self, number: int, height: float) -> None:
        """One plane at another height; a plane that the visitor holds stays in his hand."""
        self._heights[number] = float(height)
        self._keep_planes()
        if self._planes_shown:
            _tell(self._seams, "move", number, float(height))

    def fly_to(self, where: Point) -> None:
        """The eye goes to see a place from outside, from where nothing stands before it."""
        _tell(self._stage, "fly", *where)

    def whole(self) -> None:
        """All of it, from the front and a little from one side."""
        _tell(self._stage, "whole")

    def turn(self, degrees: float) -> None:
        """The eye goes round by so much, counter-clockwise seen from above."""
        _tell(self._stage, "turn", degrees)

    # --- what is shown

    @property
    def _planes_shown(self) -> bool:
        return not any(part for _, _, part in self._solids)

    def _show(self, files: Sequence[tuple[str, dict[str, Any] | None]], bounds: Bounds) -> None:
        """New solids; those before them stay until the first of the new ones has come."""
        old = [solid for solid, _, _ in self._solids]
        for solid in old:
            self._scene.objects.pop(solid.id, None)
        gone = [solid.id for solid in old]
        self._bounds = bounds
        self._stage.args[1] = bounds
        _tell(self._stage, "show", bounds)
        parts = [part["apart"] for _, part in files if part]
        if self._planes_shown == bool(parts):
            # something else is shown now: an eye close to a place would see little of it
            azimuth = _along_the_seam(parts)
            self._stage.args[2]["azimuth"] = azimuth
            _tell(self._stage, "face", azimuth)
        self._solids = []
        with self._scene, self._stage:
            for k, (url, part) in enumerate(files):
                x, y, z = part["apart"] if part else (0.0, 0.0, 0.0)
                at = (self._share * x, self._share * y, self._share * z)
                solid = _Solid(url, at=at, instead=gone if k == 0 else (), part=part)
                self._solids.append((solid, (x, y, z), part is not None))

    def _mark(self, places: Sequence[tuple[int, Point]]) -> None:
        if self._marks is not None:
            self._marks.delete()
            self._marks = None
        if places:
            with self._scene, self._stage:
                self._marks = _Marks([[number, list(at)] for number, at in places], {"place": PLACE})

    def _place(self) -> None:
        for solid, (x, y, z), part in self._solids:
            if part:
                solid.move(self._share * x, self._share * y, self._share * z)

    def _clear(self) -> None:
        """Opacities of the parts; the form by its classes is always solid."""
        pieces, master = self._opacities
        for solid, _, part in self._solids:
            if part:
                solid.material("#ffffff", pieces if solid.args[1]["part"]["letter"] else master)

    def _send_planes(self) -> None:
        self._keep_planes()
        _tell(self._seams, "show", *self._seams.args)

    def _keep_planes(self) -> None:
        heights = self._heights if self._planes_shown else []
        self._seams.args[:] = [list(heights), self._most, self._bounds, self._inches]

    # --- what the visitor does

    def _moved(self, event: GenericEventArguments) -> None:
        """A plane was moved. What a browser sends is believed only within the bounds."""
        number, height, done = (event.args.get(key) for key in ("plane", "height", "done"))
        if not isinstance(number, int) or not isinstance(height, (int, float)) or not math.isfinite(height):
            return
        if not 0 <= number < len(self._heights):
            return
        self._heights[number] = min(max(float(height), 0.0), self._most)
        self._keep_planes()
        self._on_seam(number, self._heights[number], bool(done))

    def _clicked(self, event: GenericEventArguments) -> None:
        number = event.args.get("number")
        if self._on_mark is not None and isinstance(number, int):
            self._on_mark(number)


def _along_the_seam(ways: Sequence[Point]) -> float | None:
    """The azimuth in degrees from which parts drawn to two sides do not hide each other, from the front half of
    the room; None where none is drawn to a side."""
    level = [(x, y) for x, y, _ in ways if math.hypot(x, y) > 1]
    if not level:
        return None
    azimuth = math.degrees(math.atan2(level[0][1], level[0][0])) + 90 - _BESIDE_DEG
    return azimuth if math.sin(math.radians(azimuth)) <= 0 else azimuth + 180


def _tell(thing: Object3D, method: str, *args: Any) -> None:
    """Calls a method of the script of what stands on the scene."""
    thing.scene.run_method("run_method_on_component", thing.id, method, *args)


def _noting(note: int) -> str:
    """JavaScript that hides the note behind the scene, or says in it that there is no WebGL."""
    return (
        f"(vnode) => {{ const note = getHtmlElement({note}); "
        f'note.hidden = Boolean(vnode.component.proxy.renderer); note.textContent = "{NO_WEBGL}"; }}'
    )
