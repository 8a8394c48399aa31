"""The seams: ways to part the mold with their price, and the level ones moved by hand."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from functools import partial

from nicegui import ui

from . import results
from .asking.entry import text
from .messages import Planned, SeamPrice
from .ranges import Range, focus_again
from .state import Tab
from .units import Units

PRICE = "A price counts pieces, seams and what stays locked as so many mm of level seam on a smooth wall; the least is best."
STEP_MM = 0.1
"""Of the seam's slider."""
REST_S = 0.6
"""How long a seam must rest until the mold is cut there."""


class SeamsPart:
    """on_seam: a level seam, by number, is held at a height, or let go there. on_turn: the same of the halves' plane,
    at an azimuth. on_parting: a family is chosen, or none.

    planes, azimuth_deg: where the seams are held now; None where the halves' plane was never turned by hand.
    """

    def __init__(
        self,
        tab: Tab,
        *,
        on_seam: Callable[[int, float, bool], Awaitable[None]],
        on_turn: Callable[[float, bool], Awaitable[None]],
        on_parting: Callable[[str | None], None],
    ) -> None:
        self._tab, self._on_seam, self._on_turn, self._on_parting = tab, on_seam, on_turn, on_parting
        self.planes: tuple[float, ...] = ()
        self.azimuth_deg: float | None = None
        self._record: results.Json | None = None
        self._rests = 0
        self._pressed: str | None = None
        """The way that was chosen by a press: its button is another one when the mold is planned."""
        self._known: dict[str, results.Json] = {}
        """Ways that were found when none was asked for; a plan of one family names no others."""
        self._of: results.Json | None = None

    def build(self, units: Units) -> None:
        self._units = units
        self._chosen()
        self._sliders()
        self._price_part()
        self._price()
        self._ways()

    def set_units(self, units: Units) -> None:
        self._units = units
        self._record = None

    def refresh(self) -> None:
        """Another mold is drawn whole; another price alone."""
        if self._tab.record is not self._record:
            self._record = self._tab.record
            self.planes = tuple(self._record["parting"]["planes"]) if self._record else ()
            self.azimuth_deg = self._record["job"]["parting"]["azimuth_deg"] if self._record else None
            self._chosen.refresh()
            self._fit_sliders()
            self._ways.refresh()
        self._price()

    def hold(self, planes_mm: tuple[float, ...]) -> None:
        """Seams are held at these heights; the sliders follow."""
        self.planes = planes_mm
        # sliders are drawn a moment after the plan that they belong to
        for moving, height in zip(self._moving, planes_mm, strict=False):
            moving.put(height, self._units.length(height))

    def turn(self, azimuth_deg: float) -> None:
        """The halves' plane is held at this azimuth."""
        self.azimuth_deg = azimuth_deg
        if self._turning is not None:
            self._turning.put(azimuth_deg, _azimuth(azimuth_deg))

    async def _moved(self, number: int, height_mm: float) -> None:
        await self._on_seam(number, height_mm, False)

    async def _rested(self, number: int, height_mm: float) -> None:
        """Let go, unless it is moved on at once: each press of an arrow key is a move and a rest."""
        self._rests += 1
        own = self._rests
        await asyncio.sleep(REST_S)
        if own == self._rests and self.planes[number] == height_mm:
            await self._on_seam(number, height_mm, True)

    async def _turned(self, azimuth_deg: float) -> None:
        await self._on_turn(azimuth_deg, False)

    async def _turned_and_rested(self, azimuth_deg: float) -> None:
        self._rests += 1
        own = self._rests
        await asyncio.sleep(REST_S)
        if own == self._rests and self.azimuth_deg == azimuth_deg:
            await self._on_turn(azimuth_deg, True)

    @ui.refreshable_method
    def _chosen(self) -> None:
        record = self._tab.record
        if record is None:
            return
        parting, asked = record["parting"], record["job"]["parting"]
        ui.label(f"{results.FAMILIES[parting['family']]}: {_pieces(parting['piece_count'])}.").classes(
            "page-verdict"
        )
        ui.label(parting["why"])
        if asked["family"] is not None or asked["planes_mm"] is not None:
            ui.button("Let moldprep choose", on_click=lambda: self._on_parting(None)).props("outline no-caps")
        results.findings(record["findings"], "seams")

    @ui.refreshable_method
    def _sliders(self) -> None:
        self._moving: list[Range] = []
        self._turning: Range | None = None
        record, planned = self._tab.record, self._tab.planned
        if record is None or planned is None:
            return
        if abs(record["parting"]["axis"][2]) < 1 - 1e-9:
            ui.label("This mold is parted across a leaning line; its seam cannot be moved by hand.").classes(
                "page-hint"
            )
            return
        for number, height in enumerate(self.planes):
            says = (
                "The level seam stands at" if len(self.planes) == 1 else f"Level seam {number + 1} stands at"
            )
            low, high = self._ends(number, planned)
            moving = Range(
                says,
                low=low,
                high=high,
                step=STEP_MM,
                value=height,
                shown=self._units.length(height),
                on_move=partial(self._moved, number),
                on_rest=partial(self._rested, number),
            )
            self._moving.append(moving)
        if (azimuth := _split(record)) is not None:
            self._turning = Range(
                "The halves leave toward",
                low=0,
                high=179,
                step=1,
                value=azimuth,
                shown=_azimuth(azimuth),
                on_move=self._turned,
                on_rest=self._turned_and_rested,
            )
        if not self._moving and self._turning is None:
            return
        ui.label("Drag the seam here or in the view; let it go, and the mold is cut there.").classes(
            "page-hint"
        )

    def _fit_sliders(self) -> None:
        """As many seams as before keep their sliders, and with them the maker's place on the page."""
        planned = self._tab.planned
        azimuth = _split(self._record) if self._record else None
        if (
            planned is None
            or (azimuth is None) != (self._turning is None)
            or len(self._moving) != len(self.planes)
            or not self.planes
        ):
            self._sliders.refresh()
            return
        if self._turning is not None and azimuth is not None:
            self._turning.put(azimuth, _azimuth(azimuth))
        for number, (moving, height) in enumerate(zip(self._moving, self.planes, strict=True)):
            low, high = self._ends(number, planned)
            shown = self._units.length(height)
            moving.fit(low=low, high=high, step=STEP_MM, value=height, shown=shown)

    def _ends(self, number: int, planned: Planned) -> tuple[float, float]:
        """Between which heights a level seam may be moved: its neighbours, the foot, the rim."""
        low = self.planes[number - 1] if number else 0.0
        high = self.planes[number + 1] if number + 1 < len(self.planes) else planned.highest_mm
        return low + STEP_MM, high - STEP_MM

    def _price_part(self) -> None:
        """Labels that stay and are written anew: a seam is dragged past twenty prices a second."""
        with ui.element("div") as self._priced:
            self._figures = results.big(
                [(name, "") for name in ("Stays locked", "Seam, level", "Seam, upright", "On a crease")]
            )
            self._words = text("p", "", "page-hint")

    def _price(self) -> None:
        record = self._tab.record
        self._priced.set_visibility(record is not None)
        if record is None:
            return
        seam = self._tab.seam or _planned(record["parting"])
        whole = seam.level_mm + seam.upright_mm
        on_crease = seam.level_mm * seam.level_crease + seam.upright_mm * seam.upright_crease
        shown = (
            f"{seam.locked_mm3 / 1000:.1f} mL",
            self._units.length(seam.level_mm),
            self._units.length(seam.upright_mm),
            f"{100 * on_crease / whole:.0f} %" if whole else "no seam",
        )
        for label, value in zip(self._figures, shown, strict=True):
            label.set_text(value)
        along = f"; the level seam runs on: {', '.join(seam.names)}" if seam.names else ""
        self._words.set_text(f"Price {results.count(seam.price)}{along}. {PRICE}")

    @ui.refreshable_method
    def _ways(self) -> None:
        record = self._tab.record
        if record is None:
            return
        parting = record["parting"]
        if record["job"]["parting"]["family"] is None or record["master"] != self._of:
            self._of, self._known = record["master"], {}
            for other in parting["runners_up"]:
                self._known.setdefault(other["family"], other)
        ways = {**self._known, parting["family"]: parting}
        text("h3", "Ways to part it")
        with ui.element("div").classes("page-ways").props('role="group" aria-label="Ways to part the mold"'):
            for family, way in sorted(ways.items(), key=lambda item: item[1]["price"]):
                self._way(family, way, chosen=family == parting["family"])

    def _way(self, family: str, way: results.Json, *, chosen: bool) -> None:
        reach = way["reach_mm"]
        locked = (
            "seems to free all"
            if reach is None
            else "frees all"
            if reach == 0
            else f"locked {self._units.length(reach)} deep"
        )
        if reach is None and way["excess_mm3"] > 0:
            locked = f"leaves {way['locked_mm3'] / 1000:.1f} mL locked"
        seam = self._units.length(sum(one["length_mm"] for one in way["seams"]))
        words = (
            f"{_pieces(way['piece_count'])}, {locked}, {seam} of seam, price {results.count(way['price'])}"
        )
        with (
            ui.button(on_click=lambda: self._press(family), color=None)
            .props("flat no-caps align=left")
            .classes("page-way") as button
        ):
            button.props["aria-pressed"] = "true" if chosen else "false"
            text("span", results.FAMILIES[family], "page-name")
            text("span", words)
        if family == self._pressed and chosen:
            self._pressed = None
            focus_again(button)

    def _press(self, family: str) -> None:
        self._pressed = family
        self._on_parting(family)


def _split(record: results.Json) -> float | None:
    """The azimuth in which one half of the lowest split layer leaves; None without one."""
    for layer in record["parting"]["layers"]:
        if layer["kind"] == "split":
            return float(layer["azimuth_deg"]) % 180
    return None


def _azimuth(azimuth_deg: float) -> str:
    """Seen from above: 0 to the right, 90 to the back."""
    named = {0: ", left and right", 90: ", front and back"}
    return f"{azimuth_deg:.0f}°{named.get(round(azimuth_deg) % 180, '')}"


def _pieces(count: int) -> str:
    return "1 piece" if count == 1 else f"{count} pieces"


def _planned(parting: results.Json) -> SeamPrice:
    """The plan's own parting as a price: what was measured when it was chosen."""

    def of(kind: str) -> tuple[float, float]:
        seams = [one for one in parting["seams"] if one["kind"] == kind]
        length = sum(one["length_mm"] for one in seams)
        on = sum(one["length_mm"] * one["crease_share"] for one in seams)
        return length, on / length if length else 0.0

    level, level_crease = of("horizontal")
    upright, upright_crease = of("vertical")
    return SeamPrice(
        planes_mm=tuple(parting["planes"]),
        azimuth_deg=None,
        pieces=parting["piece_count"],
        locked_mm3=parting["locked_mm3"],
        excess_mm3=parting["excess_mm3"],
        level_mm=level,
        level_crease=level_crease,
        upright_mm=upright,
        upright_crease=upright_crease,
        names=tuple(one["name"] for one in parting["seams"] if one["kind"] == "horizontal"),
        price=parting["price"],
    )
