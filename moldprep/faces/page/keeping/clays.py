"""Bars by clay and trials by slip, what they say, and how they come into the present job."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace
from nicegui import ui

from ....casting.rate import cast_rate
from ....errors import RequestError
from ....files.studio import BarRow, Entry, TrialRow
from ....findings import Finding
from ....job import Bar, ShrinkageJob, Trial
from ....sizing import shrinkage_of
from ..library import Holdings
from .desk import DATE, Desk, Section
from .parts import Ask, Form, Values, button, folded, row, table, text
from .words import counted, rate_words, shown_date, shrinkage_words

BARS_NOTE = (
    "Test bars tell how much a clay shrinks: mark a length on a wet bar, and measure it again dry and fired. "
    "The more bars, the surer the size of what you cast."
)
TRIALS_NOTE = (
    "A trial tells how fast a slip grows a wall: fill a mold, drain after some minutes, measure the wall at the rim. "
    "Only trials of your own say how long your casts take."
)
BAR = (
    Ask("clay", "Clay"),
    Ask("wet_mm", "Wet length", "length"),
    Ask("dry_mm", "Dry length", "length", needed=False),
    Ask("fired_mm", "Fired length", "length"),
    DATE,
    Ask("upright", "The bar stood: it tells of the height", "yes", usual=lambda: False),
)
TRIAL = (
    Ask("slip", "Slip"),
    Ask("minutes", "Time", "number", "min", most=2880),
    Ask("wall_mm", "Wall", "length", most=50),
)
UNKNOWN = "If it is registered."
STOOD = {True: "stood", False: "lay"}


class Clays:
    """The section of test bars."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._shown: tuple[Entry[BarRow], ...] | None = None
        self._opened: set[str] = set()
        self._section = Section("Clays", BARS_NOTE)
        with self._section.inside:
            Form(BAR, desk.lengths, "Add this bar", self._add, name="Add a bar")
            self._list = ui.element("div").classes("mp-list")

    def show(self, held: Holdings) -> None:
        """Show what is held."""
        if held.bars == self._shown:
            return
        self._shown = held.bars
        self._list.clear()
        with self._list:
            if not held.bars:
                text("p", "No bar is entered yet.", "mp-empty")
            for clay in dict.fromkeys(entry.row.clay for entry in held.bars):
                self._clay(clay, tuple(entry for entry in held.bars if entry.row.clay == clay))

    def _clay(self, clay: str, entries: tuple[Entry[BarRow], ...]) -> None:
        job = ShrinkageJob(
            clay=clay,
            bars=tuple(entry.row.bar for entry in entries if not entry.row.upright),
            height_bars=tuple(entry.row.bar for entry in entries if entry.row.upright),
        )
        with ui.element("div").classes("mp-card"):
            text("h4", clay, "mp-name")
            try:
                found = shrinkage_of(job)
            except RequestError as error:
                text("p", str(error), "mp-wrong")
            else:
                text("p", shrinkage_words(found, len(job.bars), len(job.height_bars)), "mp-sum")
                _findings(found.findings)
                button("Use these bars", lambda: self._use(job), says=f"Use these bars of {clay}")
            folded(
                f"{len(entries)} bars of {clay}",
                len(entries),
                lambda: self._rows(clay, entries),
                self._opened,
            )

    def _rows(self, clay: str, entries: tuple[Entry[BarRow], ...]) -> None:
        body = table(("Bar", "Wet", "Dry", "Fired", "Date", ""), f"Bars of {clay}")
        counts = {True: 0, False: 0}
        for entry in entries:
            counts[entry.row.upright] += 1
            self._row(body, entry, counts[entry.row.upright])

    def _row(self, body: ui.element, entry: Entry[BarRow], number: int) -> None:
        bar, length = entry.row, self._desk.lengths.length
        name = f"{bar.clay} bar {number} that {STOOD[bar.upright]}"
        row(
            body,
            (
                ("Bar", f"{number}, {STOOD[bar.upright]}"),
                ("Wet", length(bar.wet_mm)),
                ("Dry", "–" if bar.dry_mm is None else length(bar.dry_mm)),
                ("Fired", length(bar.fired_mm)),
                ("Date", shown_date(bar.date)),
            ),
            (
                ("Correct", f"Correct {name}", lambda: self._correct(entry, f"Correct {name}")),
                ("Take back", f"Take back {name}", lambda: self._take_back(entry, name)),
            ),
        )

    async def _add(self, given: Values) -> bool:
        try:
            bar = _bar(given).bar
        except RequestError as error:
            self._section.say(str(error), wrong=True)
            return False
        clay, upright, date = given["clay"], given["upright"], given["date"]
        return await self._desk.do(
            self._section,
            lambda studio: studio.add_bar(clay, bar, upright=upright, date=date),
            f"A bar of {clay} is entered.",
        )

    async def _correct(self, entry: Entry[BarRow], name: str) -> None:
        await self._desk.correct(
            self._section, entry, name, list(BAR), _values(entry.row, BAR), _bar, focus=name
        )

    async def _take_back(self, entry: Entry[BarRow], name: str) -> None:
        about = f"{entry.row.wet_mm:g} mm wet, {entry.row.fired_mm:g} mm fired."
        await self._desk.take_back(self._section, entry, f"Take back {name}?", about)

    async def _use(self, bars: ShrinkageJob) -> None:
        job = self._desk.current().job
        shrinkage = replace(
            job.shrinkage,
            clay=bars.clay,
            bars=bars.bars,
            height_bars=bars.height_bars,
            total_percent=None,
            height_percent=None,
        )
        says = f"{counted(len(bars.bars) + len(bars.height_bars), 'bar')} of {bars.clay} went into the present job."
        await self._desk.use(self._section, replace(job, shrinkage=shrinkage), says)


class Slips:
    """The section of trials."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._marks: dict[str, str] = {"": "none"}
        self._shown: tuple[Entry[TrialRow], ...] | None = None
        self._opened: set[str] = set()
        self._section = Section("Slips and trials", TRIALS_NOTE)
        with self._section.inside:
            self._form = Form(self._asks(), desk.lengths, "Add this trial", self._add, name="Add a trial")
            self._list = ui.element("div").classes("mp-list")

    def show(self, held: Holdings) -> None:
        """Show what is held."""
        self._marks = {
            "": "none",
            **{mold.entry.row.mark: mold.entry.row.mark for mold in held.molds},
        }
        self._form.follow()
        if held.trials == self._shown:
            return
        self._shown = held.trials
        self._list.clear()
        with self._list:
            if not held.trials:
                text("p", "No trial is entered yet.", "mp-empty")
            for slip in dict.fromkeys(entry.row.slip for entry in held.trials):
                self._slip(slip, tuple(entry for entry in held.trials if entry.row.slip == slip))

    def _asks(self) -> tuple[Ask, ...]:
        return (
            *TRIAL,
            Ask("mold", "Mold", "choice", needed=False, help=UNKNOWN, choices=lambda: self._marks),
            Ask(
                "after_casts",
                "Casts before it",
                "whole",
                least=0,
                needed=False,
                help="In that mold; empty: as many as are entered.",
            ),
            DATE,
        )

    def _slip(self, slip: str, entries: tuple[Entry[TrialRow], ...]) -> None:
        trials = tuple(entry.row.trial for entry in entries)
        rate = cast_rate(trials)
        with ui.element("div").classes("mp-card"):
            text("h4", slip, "mp-name")
            text("p", rate_words(rate, self._desk.lengths), "mp-sum")
            _findings(rate.findings)
            button("Use these trials", lambda: self._use(slip, trials), says=f"Use these trials of {slip}")
            folded(
                f"{len(entries)} trials of {slip}",
                len(entries),
                lambda: self._rows(slip, entries),
                self._opened,
            )

    def _rows(self, slip: str, entries: tuple[Entry[TrialRow], ...]) -> None:
        body = table(("Trial", "Time", "Wall", "Mold", "Date", ""), f"Trials of {slip}")
        for number, entry in enumerate(entries, 1):
            self._row(body, entry, number)

    def _row(self, body: ui.element, entry: Entry[TrialRow], number: int) -> None:
        trial = entry.row
        name = f"{trial.slip} trial {number}"
        mold = "–" if trial.mold is None else f"{trial.mold}, after {counted(trial.after_casts, 'cast')}"
        row(
            body,
            (
                ("Trial", str(number)),
                ("Time", f"{trial.minutes:g} min"),
                ("Wall", self._desk.lengths.length(trial.wall_mm)),
                ("Mold", mold),
                ("Date", shown_date(trial.date)),
            ),
            (
                ("Correct", f"Correct {name}", lambda: self._correct(entry, f"Correct {name}")),
                ("Take back", f"Take back {name}", lambda: self._take_back(entry, name)),
            ),
        )

    async def _add(self, given: Values) -> bool:
        return await add_trial(self._desk, self._section, given)

    async def _correct(self, entry: Entry[TrialRow], name: str) -> None:
        def make(given: Values) -> TrialRow:
            casts = given.pop("after_casts")
            return TrialRow(after_casts=entry.row.after_casts if casts is None else casts, **given)

        asks = self._asks()
        await self._desk.correct(
            self._section, entry, name, list(asks), _values(entry.row, asks), make, focus=name
        )

    async def _take_back(self, entry: Entry[TrialRow], name: str) -> None:
        about = f"{entry.row.minutes:g} min, a wall of {self._desk.lengths.length(entry.row.wall_mm)}."
        await self._desk.take_back(self._section, entry, f"Take back {name}?", about)

    async def _use(self, slip: str, trials: tuple[Trial, ...]) -> None:
        job = self._desk.current().job
        says = f"{counted(len(trials), 'trial')} of {slip} went into the present job."
        await self._desk.use(self._section, replace(job, cast=replace(job.cast, trials=trials)), says)


async def add_trial(desk: Desk, section: Section, given: Values, mold: str | None = None) -> bool:
    """Enter a trial from a form's values, in that mold or in the one that they name. Whether it was entered."""
    trial = Trial(given["minutes"], given["wall_mm"])
    return await desk.do(
        section,
        lambda studio: studio.add_trial(
            trial,
            slip=given["slip"],
            mold=mold or given.get("mold"),
            after_casts=given.get("after_casts"),
            date=given["date"],
        ),
        f"A trial of {given['slip']} is entered.",
    )


def _bar(given: Values) -> BarRow:
    """The row of a form's values; JobError for a bar that does not shrink as clay does."""
    row = BarRow(**given)
    shrinkage_of(ShrinkageJob(bars=(Bar(row.wet_mm, row.fired_mm, row.dry_mm),)))
    return row


def _values(entry: Any, asks: tuple[Ask, ...]) -> Values:
    return {ask.key: getattr(entry, ask.key) for ask in asks}


def _findings(findings: tuple[Finding, ...]) -> None:
    for finding in findings:
        text("p", f"{finding.says} {finding.remedy}".strip(), "mp-finding")
