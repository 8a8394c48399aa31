"""The register of molds: the present plan under its mark, and a card for each mold."""

from __future__ import annotations

import msgspec
from nicegui import ui

from ....errors import RequestError
from ....files.studio import Mold, Studio
from ..library import Holdings
from .desk import DATE, Desk, Section
from .moldcard import MoldCard
from .parts import Ask, Form, Values, text

NOTE = "Each mold has an entry under the mark cast into it: its plan, its casts, how it dries and how fast it still draws."
PLAN = (
    Ask("mark", "Mark", needed=False, help="Empty: as on the plan."),
    Ask("dry_g", "Dry weight", "number", "g", needed=False),
    DATE,
)
OLDER = (
    Ask("mark", "Mark"),
    Ask("form", "Form"),
    Ask("pieces", "Pieces", "whole", most=100),
    Ask("dry_g", "Dry weight", "number", "g", needed=False),
    DATE,
)


class _Told(msgspec.Struct):
    """What the register takes from a plan's record."""

    name: str
    pieces: list[msgspec.Raw]


class Molds:
    """The section of molds."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._cards: dict[str, MoldCard] = {}
        self._section = Section("Molds", NOTE)
        with self._section.inside:
            Form(
                PLAN,
                desk.lengths,
                "Register the present plan",
                self._register,
                name="Register the present plan",
            )
            with ui.element("details").classes("mp-more"):
                text("summary", "Register an older mold, without a plan", "mp-summary")
                Form(OLDER, desk.lengths, "Register this mold", self._older, name="Register an older mold")
            self._empty = text("p", "No mold is registered yet.", "mp-empty")
            self._list = ui.element("div").classes("mp-list")

    def show(self, held: Holdings) -> None:
        """Show what is held; molds in use first. A card that is there keeps what is being typed into it."""
        self._empty.set_visibility(not held.molds)
        marks = [
            kept.entry.row.mark
            for kept in sorted(held.molds, key=lambda one: one.entry.row.retired is not None)
        ]
        for mark in self._cards.keys() - set(marks):
            self._cards.pop(mark).element.delete()
        kept = {one.entry.row.mark: one for one in held.molds}
        for mark in marks:
            if mark not in self._cards:
                with self._list:
                    self._cards[mark] = MoldCard(self._desk, self._section, mark)
            self._cards[mark].show(kept[mark])
        if marks != list(self._cards):
            self._cards = {mark: self._cards[mark] for mark in marks}
            for place, card in enumerate(self._cards.values()):
                card.element.move(self._list, place)

    async def _register(self, given: Values) -> bool:
        current = self._desk.current()
        try:
            record = current.fitting_record
            told = None if record is None else msgspec.json.decode(record, type=_Told)
        except (RequestError, msgspec.DecodeError) as error:
            self._section.say(str(error), wrong=True)
            return False
        if told is None:
            says = "The page shows no plan of the present job: make one first, or register the mold without a plan."
            self._section.say(says, wrong=True)
            return False
        mark = given["mark"] or (current.job.boards.mark or "").strip() or told.name
        data, but = await self._desk.form_data(current)

        def change(studio: Studio) -> None:
            studio.register_mold(
                mark,
                form=told.name,
                pieces=len(told.pieces),
                plan=record,
                dry_g=given["dry_g"],
                date=given["date"],
            )
            if data is not None:
                studio.keep_form(current.form_name or told.name, data)

        return await self._desk.do(self._section, change, f"{mark} is registered, with its plan.{but}")

    async def _older(self, given: Values) -> bool:
        mold = Mold(plan=None, retired=None, **given)
        return await self._desk.do(
            self._section,
            lambda studio: studio.register_mold(
                mold.mark, form=mold.form, pieces=mold.pieces, dry_g=mold.dry_g, date=mold.date
            ),
            f"{mold.mark} is registered.",
        )
