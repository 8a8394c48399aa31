"""The page's way to the studio's library, and what it says about what is held."""

from __future__ import annotations

import asyncio
import re
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from moldprep.casting.rate import cast_rate
from moldprep.casting.trend import rate_trend
from moldprep.drying import Reading, dry_state
from moldprep.errors import FileError, JobError
from moldprep.faces.page.keeping.curve import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, drying_curve
from moldprep.faces.page.keeping.parts import Wrong, number_in
from moldprep.faces.page.keeping.words import (
    dried,
    dry_weights,
    file_name,
    hours_since,
    imported_words,
    rate_words,
    shown_date,
    stamp,
    trend_words,
)
from moldprep.faces.page.library import Holdings, Library
from moldprep.files.studio import Imported, Mold, ReadingRow, Studio
from moldprep.formulas.gypsum import dry_to_wet_ratio
from moldprep.job import Trial
from tests.studios import DIGEST, FORM, RECORD, filled

MOLD = Mold("M", "jug", 2, None, None, "", None)


class Mm:
    """Lengths in mm."""

    suffix = "mm"

    def length(self, mm: float) -> str:
        return f"{mm:g} mm"

    def number(self, mm: float) -> float:
        return mm

    def to_mm(self, value: float) -> float:
        return value


# The way to the library


def test_a_library_and_its_folders_are_made_when_it_is_first_asked(tmp_path: Path) -> None:
    library = Library(tmp_path / "a" / "b" / "studio.db")
    assert list(tmp_path.iterdir()) == []
    held = asyncio.run(library.holdings())
    assert held == Holdings((), (), (), (), {})
    assert library.path.exists()


def test_what_is_held_is_what_the_library_tells(tmp_path: Path) -> None:
    path = tmp_path / "studio.db"
    contents = filled(path)
    with Studio(path) as studio:
        studio.keep_form("bowl.stl", FORM)
        lives = studio.molds()
    held = asyncio.run(Library(path).holdings())
    for kind in ("jobs", "trials", "bars"):
        assert tuple(entry.row for entry in getattr(held, kind)) == getattr(contents, kind)
    jug, bowl = held.molds
    assert (jug.life, bowl.life) == lives and (jug.entry.row, bowl.entry.row) == contents.molds
    assert tuple(entry.row for entry in jug.casts) == contents.casts and jug.trials == 1
    late, early, anew = contents.readings
    assert tuple(tuple(entry.row for entry in log) for log in jug.logs) == ((early, late), (anew,))
    assert jug.drying == dried(contents.molds[0], (anew.reading,))
    assert (bowl.casts, bowl.trials, bowl.logs) == ((), 0, ())
    assert held.forms == {DIGEST: len(FORM)}


def test_questions_run_beside_the_page_and_their_refusals_come_through(tmp_path: Path) -> None:
    library = Library(tmp_path / "studio.db")

    async def ask() -> None:
        assert await library.ask(lambda studio: threading.current_thread()) is not threading.current_thread()
        with pytest.raises(JobError) as caught:
            await library.ask(lambda studio: studio.add_cast("X", kept=True))
        assert caught.value.code == "studio-mold"

    asyncio.run(ask())


@pytest.mark.parametrize(("name", "code"), [("notes/studio.db", "studio-file"), ("notes", "studio-damaged")])
def test_a_place_that_holds_no_library_is_said(name: str, code: str, tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("a shopping list, no database" * 40)
    with pytest.raises(FileError) as caught:
        asyncio.run(Library(tmp_path / name).holdings())
    assert caught.value.code == code


def test_two_windows_write_at_once_and_nothing_is_lost(tmp_path: Path) -> None:
    one, two = (Library(tmp_path / "studio.db", patience_s=60) for _ in range(2))

    async def write() -> None:
        await one.ask(lambda studio: studio.register_mold("M", form="", pieces=1))
        await asyncio.gather(
            *(library.ask(lambda studio: studio.add_cast("M", kept=True)) for library in (one, two) * 20)
        )
        assert len((await two.holdings()).molds[0].casts) == 40

    asyncio.run(write())


# What is said


def test_a_dry_weight_of_its_own_goes_before_the_planned_one() -> None:
    """The plan's plaster has consistency 75, which the ratio of dry to set follows."""
    planned = replace(MOLD, plan=RECORD.decode())
    assert dry_weights(MOLD) is None
    assert dry_weights(planned) == (8000, 5500)
    assert dry_weights(replace(planned, dry_g=5600)) == (
        pytest.approx(5600 / dry_to_wet_ratio(0.75)),
        5600,
    )
    assert dry_weights(replace(MOLD, dry_g=5600)) == (pytest.approx(5600 / dry_to_wet_ratio(0.70)), 5600)


def test_how_dry_a_mold_is_or_why_nobody_knows() -> None:
    planned = replace(MOLD, plan=RECORD.decode())
    log = (Reading(0, 7800), Reading(10, 7300), Reading(20, 6800))
    assert dried(planned, log) == dry_state(log, set_g=8000, dry_g=5500)
    assert dried(planned, ()) == "It was not weighed yet."
    assert "dry weight is known" in str(dried(MOLD, log))
    assert "lighter than the mold bone dry" in str(dried(planned, (Reading(0, 4000),)))


def test_a_trend_is_told_only_where_it_is_clear() -> None:
    clear = rate_trend("white", (0, 100), (Trial(9, 3 * 3**0.5), Trial(9, 3)))
    unclear = rate_trend("red", (0, 1), (Trial(9, 3), Trial(9, 3)))
    assert clear is not None and unclear is not None
    assert "white: casts slower by 0.02 " in trend_words((clear,))
    assert "red: no change" in trend_words((unclear,))
    assert "Not known" in trend_words(())


def test_a_rate_is_told_with_the_time_of_a_wall() -> None:
    says = rate_words(cast_rate((Trial(10, 4), Trial(20, 4 * 2**0.5))), Mm())
    assert "1.6 mm²/min by 2 trials" in says and "a wall of 4 mm takes about 10 min" in says


def test_hours_count_from_the_first_weighing_that_tells_its_time_of_day() -> None:
    east = timezone(timedelta(hours=2))
    begin = datetime(2031, 5, 4, 18, 30, tzinfo=east)
    log = (ReadingRow("M", 0, 900, "2031-05-04"), ReadingRow("M", 2, 880, stamp(begin)))
    now = datetime(2031, 5, 5, 4, 0, tzinfo=UTC)  # 11.5 hours after it
    assert hours_since(log, now) == 13.5
    assert hours_since(log[:1], now) is None
    assert hours_since((), now) == 0
    assert shown_date(log[1].date) == "2031-05-04 18:30"
    assert shown_date("May 4th") == "May 4th"


@pytest.mark.parametrize(
    ("done", "says"),
    [
        (Imported(0, 0, ()), "Nothing new in it."),
        (Imported(1, 0, ()), "1 entry added."),
        (Imported(3, 2, ("a",)), "3 entries added, 2 entries completed, 1 thing left out"),
    ],
    ids=["nothing", "one", "all"],
)
def test_an_import_is_told_in_words(done: Imported, says: str) -> None:
    assert imported_words(done).startswith(says)


@pytest.mark.parametrize("name", ["../../etc/passwd", "a\\b:c*?", "Töpfe 3/4", "…", "x" * 500])
def test_a_download_s_name_is_one_that_every_file_system_takes(name: str) -> None:
    made = file_name(name, ".toml")
    assert re.fullmatch(r"\w[\w-]{0,59}\.toml", made)


@pytest.mark.parametrize(
    ("typed", "number"), [("12", 12), (" 12,5 ", 12.5), (".5", 0.5), ("−3.25", -3.25), ("1500", 1500)]
)
def test_numbers_are_read_as_makers_write_them(typed: str, number: float) -> None:
    assert number_in(typed, "It") == number


@pytest.mark.parametrize("typed", ["", "twelve", "1,500", "12 13", "1e5", "nan", "inf", "--3"])
def test_what_is_no_number_or_two_is_asked_again(typed: str) -> None:
    with pytest.raises(Wrong):
        number_in(typed, "It")


def test_a_curve_lies_in_its_frame_and_falls_with_the_weight() -> None:
    log = (Reading(0, 7800), Reading(10, 7300), Reading(20, 6800), Reading(30, 6350))
    state = dry_state(log, set_g=8000, dry_g=5500)
    drawn = drying_curve(log, state)
    dots = [tuple(map(float, pair)) for pair in re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', drawn)]
    assert len(dots) == len(log)
    assert all(LEFT <= x <= WIDTH - RIGHT and TOP <= y <= HEIGHT - BOTTOM for x, y in dots)
    drops = [
        (after[1] - before[1]) / (b.grams - a.grams)
        for before, after, a, b in zip(dots, dots[1:], log, log[1:], strict=False)
    ]
    assert drops == pytest.approx([drops[0]] * 3, rel=0.01)  # to scale, within the drawing's tenth
    assert drops[0] < 0  # up the page is heavier
    assert state.hours_left is not None
    end = 30 + state.hours_left[0]
    assert dots[-1][0] == pytest.approx(LEFT + 30 / end * (WIDTH - LEFT - RIGHT), abs=0.06)
    assert "4 weighings from 7800 g to 6350 g in 30 hours" in drawn
