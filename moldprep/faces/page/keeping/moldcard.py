"""The card of one mold: what it is, what became of it, and what is done with it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from nicegui import ui
from nicegui.events import GenericEventArguments

from ....drying import Reading
from ....errors import RequestError
from ....files.studio import CastRow, Entry, Mold, MoldLife, ReadingRow, digest_of_record, job_of_record
from ....sheet.words import grams
from ..library import KeptMold
from .clays import TRIAL, add_trial
from .curve import drying_curve
from .desk import DATE, Desk, Section, today
from .parts import Ask, Form, Values, button, row, sure, table, text
from .words import (
    counted,
    dry_weights,
    dry_words,
    hours_since,
    life_words,
    shown_date,
    stamp,
    trend_words,
)

LATEST_CASTS = 8
"""Casts listed before the maker asks for all."""
WEIGH = (
    Ask("grams", "Weight", "number", "g", most=9_999_999),
    Ask("hours", "Hours", "number", "h", least=0, needed=False, help="Since the log began; empty: now."),
    Ask("anew", "A new log begins, as after a day of casting", "yes", usual=lambda: False),
)
READING = (
    Ask("hours", "Hours", "number", "h", least=-1e6, help="Since the log began."),
    Ask("grams", "Weight", "number", "g", most=9_999_999),
)
CAST = (Ask("kept", "The cast was good", "yes"), DATE)
DRY = (Ask("grams", "Dry weight", "number", "g", most=9_999_999),)
ENTRY = (
    Ask("mark", "Mark", help="Casts, trials and weighings follow to a new mark."),
    Ask("form", "Form"),
    Ask("pieces", "Pieces", "whole", most=100),
    Ask("dry_g", "Dry weight", "number", "g", needed=False, most=9_999_999),
    Ask("date", "Made on", needed=False, help="A date."),
    Ask("retired", "Retired on", needed=False, help="Empty: in use."),
)


class MoldCard:
    """A card that opens; its inside is made when it is opened first, and forms in it stay as they are typed."""

    def __init__(self, desk: Desk, section: Section, mark: str) -> None:
        self._desk, self._section, self._mark = desk, section, mark
        self._kept: KeptMold | None = None
        self._built = False
        self._all_casts = False
        with ui.element("details").classes("mp-card mp-mold") as self.element:
            with ui.element("summary").classes("mp-summary"):
                text("h4", mark, "mp-name")
                self._sum = text("span", "", "mp-sum")
            self._inside = ui.element("div").classes("mp-inside")
        self.element.on("toggle", self._toggled, js_handler="(event) => emit(event.target.open)")

    def show(self, kept: KeptMold) -> None:
        """Show what is held of this mold."""
        if kept == self._kept:
            return
        self._kept = kept
        self._sum.text = " · ".join(_told(kept))
        if self._built:
            self._fill(kept)

    def _toggled(self, event: GenericEventArguments) -> None:
        if event.args and not self._built and self._kept is not None:
            self._built = True
            with self._inside:
                self._build()
            self._fill(self._kept)

    def _build(self) -> None:
        """All that stays while entries come and go."""
        lengths, mark = self._desk.lengths, self._mark
        self._facts = ui.element("dl").classes("mp-facts")
        with ui.element("div").classes("mp-part") as self._casting:
            text("h5", "Casts", "mp-part-head")
            with ui.element("div").classes("mp-acts"):
                label = text("label", "Date", "mp-label")
                self._date = (
                    ui.input(value=today()).props("dense outlined no-error-icon").classes("mp-input mp-date")
                )
                label.props["for"] = self._date.html_id
                button("A good cast", lambda: self._cast(True), says=f"A good cast of {mark}")
                button("A lost cast", lambda: self._cast(False), says=f"A lost cast of {mark}")
        self._casts = ui.element("div")
        with ui.element("div").classes("mp-part"):
            text("h5", "Drying", "mp-part-head")
            self._drying = ui.element("div")
            self._weigh_form = Form(WEIGH, lengths, "Weigh it", self._weigh, name=f"Weigh {mark}")
            self._logs_shown = ui.element("div")
            Form(DRY, lengths, "Set its dry weight", self._weigh_dry, name=f"Dry weight of {mark}")
        with ui.element("div").classes("mp-part"):
            text("h5", "A trial in it", "mp-part-head")
            Form((*TRIAL, DATE), lengths, "Add this trial", self._trial, name=f"A trial in {mark}")
        self._acts = ui.element("div").classes("mp-part mp-acts")

    def _fill(self, kept: KeptMold) -> None:
        """All that follows the library."""
        self._casting.set_visibility(kept.entry.row.retired is None)
        for place in (self._facts, self._casts, self._drying, self._logs_shown, self._acts):
            place.clear()
        with self._facts:
            self._show_facts(kept.life)
        with self._casts:
            self._show_casts(kept.casts)
        self._show_drying(kept)
        with self._acts:
            self._show_acts(kept)

    def _show_facts(self, life: MoldLife) -> None:
        mold = life.mold
        facts = {
            "Form": f"{mold.form or 'unnamed'}, {counted(mold.pieces, 'piece')}",
            "Made": shown_date(mold.date) or "no date",
            "Casts": life_words(life),
            "Casting rate": trend_words(life.trends),
            "Dry weight": _dry_weight_words(mold),
            "Plan": "none" if mold.plan is None else "kept",
        }
        if mold.retired is not None:
            facts["Retired"] = shown_date(mold.retired) or "no date"
        for name, says in facts.items():
            text("dt", name)
            text("dd", says)

    def _show_casts(self, casts: tuple[Entry[CastRow], ...]) -> None:
        if not casts:
            return
        shown = casts if self._all_casts else casts[-LATEST_CASTS:]
        body = table(("Cast", "Became", "Date", ""), f"Casts of {self._mark}")
        for number, entry in reversed(list(enumerate(casts, 1))[-len(shown) :]):
            self._cast_row(body, entry, number)
        if len(shown) < len(casts):
            all_of_them = f"Show all {len(casts)} casts"
            button(all_of_them, self._show_all, says=f"{all_of_them} of {self._mark}")

    def _cast_row(self, body: ui.element, entry: Entry[CastRow], number: int) -> None:
        name = f"cast {number} of {self._mark}"
        cells = (
            ("Cast", str(number)),
            ("Became", "good" if entry.row.kept else "lost"),
            ("Date", shown_date(entry.row.date)),
        )
        acts = (
            ("Correct", f"Correct {name}", lambda: self._correct_cast(entry, name)),
            ("Take back", f"Take back {name}", lambda: self._take_back(entry, name)),
        )
        row(body, cells, acts)

    def _show_drying(self, kept: KeptMold) -> None:
        state, logs = kept.drying, kept.logs
        with self._drying:
            text("p", state if isinstance(state, str) else dry_words(state), "mp-sum")
            if not isinstance(state, str):
                for finding in state.findings:
                    text("p", f"{finding.says} {finding.remedy}".strip(), "mp-finding")
                latest = tuple(entry.row.reading for entry in logs[-1])
                ui.html(drying_curve(latest, state), sanitize=False)
        with self._logs_shown:
            if logs:
                self._show_log(logs[-1], "its log" if len(logs) == 1 else "its latest log")
            if len(logs) > 1:
                with ui.element("details").classes("mp-more"):
                    text("summary", counted(len(logs) - 1, "earlier log"), "mp-summary")
                    for log in reversed(logs[:-1]):
                        self._show_log(log, f"log {log[0].row.log}")

    def _show_log(self, log: tuple[Entry[ReadingRow], ...], which: str) -> None:
        body = table(("Hours", "Weight", "Date", ""), f"Weighings of {self._mark}, {which}")
        for entry in log:
            self._reading_row(body, entry, which)

    def _reading_row(self, body: ui.element, entry: Entry[ReadingRow], which: str) -> None:
        name = f"weighing of {self._mark} at {entry.row.hours:g} h in {which}"
        cells = (
            ("Hours", f"{entry.row.hours:g}"),
            ("Weight", f"{entry.row.grams:g} g"),
            ("Date", shown_date(entry.row.date)),
        )
        acts = (
            ("Correct", f"Correct {name}", lambda: self._correct_reading(entry, name)),
            ("Take back", f"Take back {name}", lambda: self._take_back(entry, name)),
        )
        row(body, cells, acts)

    def _show_acts(self, kept: KeptMold) -> None:
        entry, mold = kept.entry, kept.entry.row
        if mold.plan is not None:
            button(
                "Open its plan again", lambda: self._open(mold), says=f"Open the plan of {mold.mark} again"
            )
        name = f"Correct the entry of {mold.mark}"
        button("Correct its entry", lambda: self._correct(entry, name), says=name)
        if mold.retired is None:
            button("Retire it", self._retire, says=f"Retire {mold.mark}")
        button("Remove it", lambda: self._remove(kept), says=f"Remove {mold.mark}")

    async def _cast(self, kept: bool) -> None:
        mark, date = self._mark, self._date.value or ""
        says = f"A {'good' if kept else 'lost'} cast of {mark} is entered."
        await self._desk.do(self._section, lambda studio: studio.add_cast(mark, kept=kept, date=date), says)

    async def _weigh(self, given: Values) -> bool:
        logs = self._kept.logs if self._kept is not None else ()
        now = datetime.now().astimezone()
        hours, date = given["hours"], today()
        if hours is None:
            log = () if given["anew"] or not logs else tuple(entry.row for entry in logs[-1])
            hours, date = hours_since(log, now), stamp(now)
            if hours is None:
                says = "The log does not tell at what time of day it began: give the hours."
                self._weigh_form.say("hours", says)
                return False
        reading = Reading(hours, given["grams"])
        return await self._desk.do(
            self._section,
            lambda studio: studio.add_reading(self._mark, reading, anew=given["anew"], date=date),
            f"{self._mark} weighs {reading.grams:g} g at {reading.hours:g} h.",
        )

    async def _weigh_dry(self, given: Values) -> bool:
        mark, weight = self._mark, given["grams"]
        return await self._desk.do(
            self._section,
            lambda studio: studio.set_dry_weight(mark, weight),
            f"{mark} weighs {weight:g} g dry.",
        )

    async def _trial(self, given: Values) -> bool:
        return await add_trial(self._desk, self._section, given, self._mark)

    async def _show_all(self) -> None:
        self._all_casts = True
        if self._kept is not None:
            self._fill(self._kept)

    async def _correct_cast(self, entry: Entry[CastRow], name: str) -> None:
        await self._desk.correct(
            self._section,
            entry,
            f"Correct {name}",
            list(CAST),
            {"kept": entry.row.kept, "date": entry.row.date},
            lambda given: CastRow(self._mark, given["kept"], given["date"]),
            focus=f"Correct {name}",
        )

    async def _correct_reading(self, entry: Entry[ReadingRow], name: str) -> None:
        was = entry.row
        await self._desk.correct(
            self._section,
            entry,
            f"Correct {name}",
            list(READING),
            {"hours": was.hours, "grams": was.grams},
            lambda given: ReadingRow(was.mold, given["hours"], given["grams"], was.date, was.log),
            focus=f"Correct {name}",
        )

    async def _take_back(self, entry: Entry[CastRow] | Entry[ReadingRow], name: str) -> None:
        await self._desk.take_back(self._section, entry, f"Take back {name}?", "")

    async def _open(self, mold: Mold) -> None:
        try:
            job, digest = job_of_record(mold.plan or ""), digest_of_record(mold.plan or "")
        except RequestError as error:
            self._section.say(str(error), wrong=True)
            return
        await self._desk.open(self._section, job, digest, mold.form, None)

    async def _correct(self, entry: Entry[Mold], name: str) -> None:
        was = entry.row

        def make(given: Values) -> Mold:
            return Mold(
                given["mark"],
                given["form"],
                given["pieces"],
                was.plan,
                given["dry_g"],
                given["date"] or "",
                given["retired"],
            )

        values = {ask.key: getattr(was, ask.key) for ask in ENTRY}
        await self._desk.correct(self._section, entry, name, list(ENTRY), values, make, focus=name)

    async def _retire(self) -> None:
        mark = self._mark
        with self._section.element:
            asked = await sure(
                f"Retire {mark}?", "Its entry stays; it takes no more casts.", "Retire it", "Keep it in use"
            )
        if asked:
            await self._desk.do(
                self._section,
                lambda studio: studio.retire(mark, date=today()),
                f"{mark} is retired.",
                focus="",
            )

    async def _remove(self, kept: KeptMold) -> None:
        counts = {"cast": len(kept.casts), "trial": kept.trials, "weighing": sum(map(len, kept.logs))}
        hanging = [counted(count, kind) for kind, count in counts.items() if count]
        about = f"{', '.join(hanging)} of it go too." if hanging else "Nothing else hangs on it."
        await self._desk.take_back(
            self._section, kept.entry, f"Remove the mold {self._mark}?", about, yes="Remove it"
        )


def _told(kept: KeptMold) -> Iterator[str]:
    """What the closed card tells."""
    mold = kept.life.mold
    yield f"{mold.form or 'form unnamed'}, {counted(mold.pieces, 'piece')}"
    yield life_words(kept.life)
    if mold.retired is not None:
        yield "retired"
    elif not isinstance(kept.drying, str):
        yield "ready to cast" if kept.drying.ready else f"{kept.drying.water_percent:.0f} % water, not ready"


def _dry_weight_words(mold: Mold) -> str:
    if mold.dry_g is not None:
        return grams(mold.dry_g)
    weights = dry_weights(mold)
    return "not weighed" if weights is None else f"{grams(weights[1])} as planned, not weighed"
