"""What the library holds, in words; no widgets here."""

from __future__ import annotations

import re
from datetime import datetime
from functools import lru_cache
from typing import Protocol

import msgspec

from ....casting.rate import CastRate
from ....casting.trend import RateTrend
from ....drying import DryState, Reading, dry_state
from ....errors import RequestError
from ....files.studio import Imported, Mold, MoldLife, ReadingRow, job_of_record
from ....formulas.gypsum import dry_to_wet_ratio
from ....job import PlasterJob
from ....sheet.words import grams
from ....sizing import Shrinkage
from ...lines import hours_words

WALL_MM = 4.0
"""A wall to tell a slip's rate by."""
NAME_LETTERS = 60
"""How much of a job's name goes into a file's."""


class Lengths(Protocol):
    """How the page shows lengths."""

    @property
    def suffix(self) -> str:
        """What stands behind a number."""

    def length(self, mm: float) -> str:
        """A length to read."""

    def number(self, mm: float) -> float:
        """A length for an input field."""

    def to_mm(self, value: float) -> float:
        """What a number in an input field means in mm."""


class _Weights(msgspec.Struct):
    """What a plan's record tells of the whole mold's weight."""

    wet_total_g: float
    dry_total_g: float


def counted(number: int, one: str, several: str | None = None) -> str:
    """A number of things.

    >>> counted(1, "cast"), counted(3, "cast")
    ('1 cast', '3 casts')
    """
    return f"{number} {one if number == 1 else several or f'{one}s'}"


def megabytes(size: int) -> str:
    """A file's size."""
    return f"{size / 1e6:.0f} MB" if size >= 9.5e6 else f"{size / 1e6:.1f} MB" if size >= 1e5 else "0.1 MB"


def shrinkage_words(found: Shrinkage, bars: int, upright: int) -> str:
    """What bars say of a clay, in one sentence."""
    unsure = f" ± {100 * found.uncertainty:.2f}" if found.uncertainty else ""
    parts = (
        ""
        if found.drying is None or found.firing is None
        else f" ({100 * found.drying:.2f} % drying, {100 * found.firing:.2f} % firing)"
    )
    height = (
        f", in height {100 * found.height:.2f} % by {counted(upright, 'bar')} that stood" if upright else ""
    )
    return (
        f"Shrinks {100 * found.width:.2f}{unsure} % from wet to fired by {counted(bars, 'bar')}{parts}{height}; "
        f"the master is {found.factor[0]:.4f} times the fired piece."
    )


def rate_words(rate: CastRate, lengths: Lengths) -> str:
    """What trials say of a slip, in one sentence."""
    middle, low, high = (
        f"{minutes:.3g}" if minutes < 1000 else f"{minutes:.0f}" for minutes in rate.minutes(WALL_MM)
    )
    return (
        f"Grows {rate.rate:.2g} mm²/min by {counted(rate.trials, 'trial')} (nine chances in ten: {rate.low:.2g} to "
        f"{rate.high:.2g}); a wall of {lengths.length(WALL_MM)} takes about {middle} min ({low} to {high})."
    )


def life_words(life: MoldLife) -> str:
    """Casts made and lost."""
    if not life.casts:
        return "no cast yet"
    return f"{counted(life.casts, 'cast')}, {life.losses or 'none'} lost"


def trend_words(trends: tuple[RateTrend, ...]) -> str:
    """How the mold's casting rate changes over its casts."""
    if not trends:
        return "Not known: it takes two trials of one slip with casts between them."
    return " ".join(_trend(trend) for trend in trends)


def dry_weights(mold: Mold) -> tuple[float, float] | None:
    """Set and bone dry weight [g] of a mold: by its own dry weight, else as planned; None where neither is known.

    Plaster of one consistency sets to the same multiple of its dry weight, however much was poured.
    """
    planned = _planned_weights(mold.plan)
    if mold.dry_g is None:
        return planned[:2] if planned is not None else None
    ratio = planned[2] if planned is not None else dry_to_wet_ratio(PlasterJob().consistency / 100)
    return mold.dry_g / ratio, mold.dry_g


@lru_cache(maxsize=500)
def dried(mold: Mold, log: tuple[Reading, ...]) -> DryState | str:
    """Where a mold's drying stands by a log; or in words why nobody knows. Some hundredths of a second, once a log."""
    if not log:
        return "It was not weighed yet."
    weights = dry_weights(mold)
    if weights is None:
        return "How dry it is can be told once its dry weight is known."
    try:
        return dry_state(log, set_g=weights[0], dry_g=weights[1])
    except RequestError as error:
        return str(error)


def dry_words(state: DryState) -> str:
    """How dry, and when ready."""
    water = f"{state.water_percent:.1f} % of its dry weight is water"
    if state.ready:
        return f"Ready to cast: {water}."
    return f"Not ready: {water}. It is ready at {grams(state.ready_grams)}{hours_words(state.hours_left)}"


def imported_words(done: Imported) -> str:
    """What an import did."""
    said = [f"{counted(done.added, 'entry', 'entries')} added" if done.added else "Nothing new in it"]
    if done.completed:
        said.append(f"{counted(done.completed, 'entry', 'entries')} completed")
    if done.left:
        said.append(f"{counted(len(done.left), 'thing')} left out, because the library says otherwise")
    return ", ".join(said) + "."


def file_name(name: str, suffix: str) -> str:
    """A name for a download: of the maker's name, what no file system minds.

    >>> file_name("Jug 3 / tall", ".toml")
    'Jug-3-tall.toml'
    """
    plain = re.sub(r"[^\w]+", "-", name).strip("-_")[:NAME_LETTERS]
    return (plain or "job") + suffix


def hours_since(log: tuple[ReadingRow, ...], now: datetime) -> float | None:
    """Hours since a log began, to a hundredth, by the first weighing in it that says its time of day; 0 for a
    log that begins; None where no weighing says it."""
    if not log:
        return 0.0
    for row in log:
        try:
            when = datetime.fromisoformat(row.date)
        except ValueError:
            continue
        if when.tzinfo is not None:
            return round(row.hours + (now - when).total_seconds() / 3600, 2)
    return None


def stamp(now: datetime) -> str:
    """Date, time of day and offset, which `hours_since` reads."""
    return now.isoformat(sep=" ", timespec="minutes")


def shown_date(date: str) -> str:
    """A date as it is shown: without the offset of a time of day."""
    return re.sub(r"^(\d{4}-\d\d-\d\d \d\d:\d\d)[+-]\d\d:\d\d$", r"\1", date)


def _trend(trend: RateTrend) -> str:
    by = f"by {trend.trials} trials"
    if not trend.clear:
        return f"{trend.slip}: no change that trials could tell yet, {by}."
    word = "slower" if trend.per_cast < 0 else "faster"
    return (
        f"{trend.slip}: casts {word} by {abs(trend.per_cast):.2g} ± {trend.error_per_cast:.1g} mm²/min with each cast "
        f"({trend.rate_new:.2g} when new), {by}."
    )


def _planned_weights(plan: str | None) -> tuple[float, float, float] | None:
    """Set and dry weight [g] that a record tells, and dry over set."""
    if plan is None:
        return None
    try:
        plaster = job_of_record(plan).plaster
        found = msgspec.json.decode(plan, type=_Weights)
    except (RequestError, msgspec.DecodeError):
        return None
    return (
        found.wet_total_g,
        found.dry_total_g,
        dry_to_wet_ratio(plaster.consistency / 100, purity=plaster.purity),
    )
