"""The job: what the maker asks for, one nested part for each stage, every default with its reason.

A job file is TOML with the same nesting; every key may be left out:

>>> job = job_from_toml('''
... [form]
... units = "cm"
... [shrinkage]
... total_percent = 12.0
... ''')
>>> job.form.units, job.shrinkage.total_percent, job.plaster.consistency
('cm', 12.0, 70.0)
"""

from __future__ import annotations

import tomllib
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from .errors import JobError

Unit = Literal["mm", "cm", "m", "inch"]
Axis = Literal["x", "y", "z", "-x", "-y", "-z"]
OpeningKind = Literal["rim", "foot", "made"]
WetFrom = Literal["master", "mold", "cast"]
CottleKind = Literal["ring", "box", "sheet"]
NatchKind = Literal["cast", "insert", "none"]
CastMode = Literal["drain", "solid"]
CapacityUnit = Literal["mL", "imperial fl oz", "US fl oz"]
BoardWay = Literal["boards", "bedded"]
Family = Literal[
    "one-piece", "two-piece", "halves", "halves+foot", "halves+top", "halves+foot+top", "split-layers"
]

Positive = Annotated[float, Meta(gt=0, le=1e5)]
NotNegative = Annotated[float, Meta(ge=0, le=1e5)]
Count = Annotated[int, Meta(ge=1, le=10_000)]
Percent = Annotated[float, Meta(ge=0, lt=50)]
Angle = Annotated[float, Meta(ge=0, lt=90)]


class Part(Struct, frozen=True, forbid_unknown_fields=True):
    """One stage's part of the job: hashable, compared by value."""


class FormJob(Part, frozen=True):
    """How the file is to be read."""

    name: str | None = None
    """What the sheet calls the form; the file's name when left out."""
    units: Unit | None = None
    """Unit of the file's numbers; mm when left out, since printers and slicers use it (3MF says its own)."""
    up: Axis = "z"
    """The file's axis that points up when the piece stands on its foot."""
    size_mm: Positive | None = None
    """Scale the form so that its largest dimension is this; for files in a unit of their own."""
    close_openings: bool = False
    """Consent to close openings in the surface flat; what was closed is said."""
    fill_hollow: bool = False
    """Consent to fill a form that is modelled with its inside, level with its lip's widest outer circle,
    and to close what pierces its wall; what was filled is said. Slip follows the mold: the master is the
    outside alone."""


class Bar(Part, frozen=True):
    """One test bar, lengths between the same two marks, mm."""

    wet_mm: Positive
    fired_mm: Positive
    dry_mm: Positive | None = None


class ShrinkageJob(Part, frozen=True):
    """How much bigger the master must be. Give percent, or bars; height apart if it differs."""

    clay: str = "clay"
    total_percent: Percent | None = None
    """Linear, wet to fired, on the wet length. Left out and without bars: the file is taken as the
    master's own size (nothing is scaled), and the sheet says so."""
    height_percent: Percent | None = None
    """Along the upright axis, when it differs from the width."""
    bars: tuple[Bar, ...] = ()
    height_bars: tuple[Bar, ...] = ()
    measured_from: WetFrom = "mold"
    """What the wet length was taken from: the mold's mark (usual: marks pressed in by the mold),
    the master's (plaster expansion and print shrink are inside already), or the demolded cast's
    (shrinkage in the mold is missing)."""
    mark_error_mm: Annotated[float, Meta(gt=0, le=10)] = 0.5
    """Standard uncertainty of one length reading: a ruler's half division (common practice)."""
    plaster_expansion_percent: Annotated[float, Meta(ge=-1, le=3)] = 0.20
    """Linear setting expansion; 0.19-0.22 % was tabulated for consistencies 65-74."""
    print_shrink_percent: Annotated[float, Meta(ge=-2, le=5)] = 0.0
    """How much smaller than drawn the printer prints; zero for a calibrated printer."""


class StandJob(Part, frozen=True):
    """How the form stands in its mold."""

    opening: OpeningKind | None = None
    """Where slip goes in; chosen by the form when left out."""
    opening_diameter_mm: Positive | None = None
    """For a made opening: its diameter at the form."""
    opening_at: Axis = "z"
    """For a made opening: the side of the form (in its up axes) where it is made."""
    floor_mm: NotNegative | None = None
    """Plaster beneath the foot; the wall's thickness when left out."""
    spare: bool = True
    """A flared collar of waste above the rim, trimmed off at the rim."""
    spare_depth_mm: Positive = 20.0
    """At least 20 mm, and 1.5 times the level drop of the first fill (common practice)."""
    spare_flare_deg: Angle = 10.0
    """The spare's outward draft, so that waste and master leave easily."""


class PullJob(Part, frozen=True):
    """What counts as locked and as tight."""

    tolerance_mm: Annotated[float, Meta(gt=0, le=5)] = 0.15
    """Least reach that counts as locked: about a nozzle line's roughness; plaster gives way below."""
    least_draft_deg: Angle = 2.0
    """Outside walls, from which the cast shrinks away; 2-3 degrees is common practice."""
    least_draft_inside_deg: Angle = 5.0
    """Faces that the cast shrinks onto (foot boss, eye of a handle); 5-8 is common practice."""
    axes: tuple[tuple[float, float, float], ...] = ()
    """Further candidate directions, in the casting pose."""
    search: bool = True
    """Search 300 candidate directions; off: only up and the axes given."""


class CottleJob(Part, frozen=True):
    """The wall around the pour: what the maker has, and how thick plaster shall be."""

    kind: CottleKind | None = None
    """Ring, box of boards, or a sheet hugging the form; the one that wastes least when left out."""
    wall_mm: Positive | None = None
    """Least plaster around the form; by the form's largest dimension when left out."""
    rings_mm: tuple[Positive, ...] = ()
    """Inner diameters of the rings at hand; any diameter when empty."""


class PartingJob(Part, frozen=True):
    """Where the mold comes apart."""

    family: Family | None = None
    """Only this family; all are tried when left out."""
    planes_mm: tuple[float, ...] | None = None
    """Heights of the horizontal seam planes above the foot, fixed; searched when left out."""
    azimuth_deg: float | None = None
    """Direction, seen from above and counter-clockwise from x, in which one half leaves."""
    grid: Annotated[int, Meta(ge=16, le=1024)] = 128
    """Levels along the height and lines across the form for the search."""
    azimuths: Annotated[int, Meta(ge=2, le=90)] = 24
    """Azimuths tried over a half turn."""
    most_split_layers: Annotated[int, Meta(ge=1, le=3)] = 2
    """Stacked split layers tried at the most."""
    piece_price: NotNegative = 1000.0
    """Price of one more piece, in mm of smooth horizontal seam: pieces outweigh seams."""
    crease_price: NotNegative = 0.0
    """Price of a mm of seam on a crease of the form, where it does not show."""
    horizontal_price: NotNegative = 1.0
    """Price of a mm of level seam on a smooth surface."""
    vertical_price: NotNegative = 3.0
    """Price of a mm of upright seam: it runs down the front of the piece."""
    crease_angle_deg: Angle = 30.0
    """Dihedral angle from which an edge counts as a crease."""


class PiecesJob(Part, frozen=True):
    """How the pieces are finished, and what keeps them in register."""

    natches: NatchKind = "cast"
    """Knobs of plaster in sockets of plaster; sockets on both sides for printed inserts; or none."""
    natch_diameter_mm: Annotated[float, Meta(ge=4, le=40)] | None = None
    """A third of the wall, 8-20 mm, when left out (common practice)."""
    natch_clearance_mm: Annotated[float, Meta(ge=0, le=2)] = 0.2
    """Between a printed insert and its sockets, all round; plaster cast against plaster needs none."""
    natch_taper_deg: Annotated[float, Meta(ge=3, le=45)] = 15.0
    """Draft of a knob's side, so that pieces part without a wrench (common practice)."""
    chamfer_mm: Annotated[float, Meta(ge=0, le=10)] = 1.5
    """Taken off the outer edges while the plaster is damp, 1-2 mm (common practice): sharp ones chip."""
    drip_bevel_deg: Annotated[float, Meta(ge=0, le=80)] = 0.0
    """Tilt, from the opening straight down, at which the emptied mold shall rest on a flat cut into its
    outer edge beside the opening; 0 for none."""


class BoardsJob(Part, frozen=True):
    """What the pieces are poured on."""

    way: BoardWay = "boards"
    """Printed boards for the first piece, or the master bedded in clay up to each seam."""
    each_piece: bool = False
    """A board for every piece instead of pouring against set plaster; the fit then suffers from the
    spread of the plaster's expansion."""
    thickness_mm: Annotated[float, Meta(ge=2, le=30)] = 6.0
    """Of flanges and end plates: stiff enough for a hand's width of plaster on it (common practice)."""
    lip_mm: Annotated[float, Meta(ge=0, le=60)] = 15.0
    """How far a board reaches beyond the cottle, to stand and clamp it on."""
    fit_mm: Annotated[float, Meta(ge=0, le=1)] = 0.2
    """Gap between the master and the hole that it stands in."""
    mark: str | None = None
    """Cast into an outside face; form, piece, size and date when left out, nothing when empty."""
    date: str = ""
    """Part of the mark, as the maker writes dates: moldprep reads no clock."""


class PlasterJob(Part, frozen=True):
    """The mix and the scale it is weighed on."""

    plaster: str = "pottery plaster"
    consistency: Annotated[float, Meta(ge=30, le=120)] = 70.0
    """Parts of water to 100 parts of plaster by mass; ten to seven is common practice."""
    purity: Annotated[float, Meta(gt=0.5, le=1)] = 1.0
    """Mass fraction of hemihydrate in the plaster."""
    allowance_percent: Annotated[float, Meta(ge=0, le=100)] = 10.0
    """What stays in the bucket and on the hands, on top of the mold's volume (common practice)."""
    scale_step_g: Positive = 10.0
    """Weights are rounded up to the scale's step."""
    water_temperature_c: Annotated[float, Meta(ge=1, le=60)] = 20.0
    """When it is strewn in; warm water hurries the set, cold water slows it."""
    age_months: Annotated[float, Meta(ge=0, le=240)] = 3.0
    """Since the bag was made; kept dry, three months are as good as fresh (common practice)."""
    bucket_ml: Positive | None = None
    """Slurry that the mixing bucket holds with room to stir; as large as the pour when left out."""


class StudioJob(Part, frozen=True):
    """How many molds, what they have to make, and where they dry."""

    molds: Count = 1
    """The same mold so many times, from the same master."""
    bag_kg: Positive = 25.0
    """Plaster in a bag; a usual bag."""
    order_pieces: Annotated[int, Meta(ge=1, le=1_000_000)] | None = None
    """Good pieces of an order, ..."""
    days: Count = 20
    """... the working days until it is due, four weeks of five, ..."""
    casts_a_day: Annotated[float, Meta(gt=0, le=50)] = 1.0
    """... and what a mold is asked for on each: one, so that it dries in between (common practice)."""
    mold_life_casts: Annotated[int, Meta(ge=1, le=10_000)] = 100
    """Casts until detail and seams are worn; 60-120 is common practice."""
    shelf_c: Annotated[float, Meta(ge=5, le=200)] = 35.0
    """The warmest place where molds dry; gypsum loses its own water from 49 degrees (120 °F)."""


class Trial(Part, frozen=True):
    """A trial cast: how long the slip stood in the mold, and how thick its wall came out."""

    minutes: Annotated[float, Meta(gt=0, le=2880)]
    wall_mm: Annotated[float, Meta(gt=0, le=50)]


class CastJob(Part, frozen=True):
    """The cast that the mold makes."""

    mode: CastMode = "drain"
    """Drained when the wall has grown, or left in the mold until it is solid clay."""
    wall_mm: Annotated[float, Meta(gt=0, le=50)] = 4.0
    """Of wet clay, when the slip is poured out; 3-5 mm is common practice for tableware."""
    spill_mm: float | None = None
    """Height above the foot, on the master before it is scaled for capacity or weight, at which it spills: the
    tip of a low spout; the rim's lowest place when left out."""
    slip_g_ml: Annotated[float, Meta(gt=1, le=2.5)] = 1.775
    """Casting slip; 1.75-1.80 is usual."""
    solids_g_ml: Annotated[float, Meta(gt=1.5, le=4)] = 2.6
    """Density of the dry clay's grains (common practice; from memory)."""
    water_percent: Annotated[float, Meta(ge=5, le=40)] = 20.0
    """Water in the demolded cast, of its wet weight (common practice)."""
    loss_on_ignition_percent: Annotated[float, Meta(ge=0, le=30)] = 8.0
    """Of the dry weight, in the kiln; 5-12 is common practice."""
    trials: tuple[Trial, ...] = ()
    """Your own, with this slip in this mold or one like it: only they tell how long a wall takes."""


class DrainJob(Part, frozen=True):
    """How well the cast shall drain."""

    most_left_ml: Annotated[float, Meta(gt=0, le=1000)] = 1.0
    """Slip that may stay in the emptied cast: as much more is wiped out, or does no harm (our judgement)."""
    most_tilt_deg: Annotated[float, Meta(ge=0, le=85)] = 80.0
    """Furthest tilt tried, from the opening straight down; at 90 it lies on its side."""


class StretchJob(Part, frozen=True):
    """Make the form taller or lower between two heights, its width kept."""

    taller_mm: Annotated[float, Meta(ge=-1e4, le=1e4)]
    """By so much, fired."""
    zone_mm: tuple[float, float] | None = None
    """Heights above the foot, fired, between which the form may stretch; foot and rim stay as they are.
    Its middle part when left out."""


class TargetJob(Part, frozen=True):
    """What the fired piece shall be; at most one of the sizes is given, and the whole form follows."""

    height_mm: Positive | None = None
    width_mm: Positive | None = None
    length_drawn_mm: Positive | None = None
    """Any length, as the file shows it, ..."""
    length_mm: Positive | None = None
    """... and what it shall be when fired."""
    weight_g: Positive | None = None
    capacity: Positive | None = None
    """To the brim, or to `fill_mm` below it."""
    capacity_unit: CapacityUnit = "mL"
    fill_mm: NotNegative = 0.0
    """How far below the brim the fill line lies, fired."""
    stretch: StretchJob | None = None
    """Before any scaling."""
    sizes: tuple[Annotated[float, Meta(gt=0.05, le=20)], ...] = ()
    """Further sizes of the form, as shares of this one: what each would hold and weigh."""


class PrinterJob(Part, frozen=True):
    """The printer that the master is made on, and how it prints."""

    bed_mm: tuple[Positive, Positive, Positive] = (220.0, 220.0, 250.0)
    """Bed and height; larger boards are cut and pinned, too."""
    layer_mm: Annotated[float, Meta(gt=0.01, le=2)] = 0.2
    shell_mm: Annotated[float, Meta(gt=0, le=20)] = 1.2
    infill_percent: Annotated[float, Meta(ge=0, le=100)] = 15.0
    filament_g_ml: Annotated[float, Meta(gt=0.5, le=3)] = 1.24
    """PLA (from memory)."""
    filament_diameter_mm: Annotated[float, Meta(gt=0.5, le=5)] = 1.75
    overhang_deg: Annotated[float, Meta(ge=10, le=80)] = 45.0
    """Steepest overhang that prints without support, from the upright (common practice)."""
    softens_c: Annotated[float, Meta(ge=30, le=300)] = 55.0
    """PLA's glass transition lies at 45-65 degrees."""
    most_sections: Annotated[int, Meta(ge=1, le=8)] = 4
    least_section_mm: Positive = 15.0
    """Lower sections are not worth a cut."""
    cut_price_g: NotNegative = 8.0
    """Filament that one more cut must save to be worth gluing and sanding a joint (our judgement)."""
    pin_mm: Annotated[float, Meta(gt=1, le=20)] = 4.0
    """Aligning pins in the glue faces: pieces of rod or filament."""


class EaseJob(Part, frozen=True):
    """How far moldprep may go when it offers an eased form."""

    most_taper_deg: Annotated[float, Meta(ge=0, le=15)] = 3.0
    most_fill_mm: Annotated[float, Meta(ge=0, le=20)] = 3.0
    """Depth of an undercut that may be filled."""


class EstimateJob(Part, frozen=True):
    """The maker's own rates, in one currency, and hours. Without a rate for labour nothing is estimated.

    Every default of hours and shares is our judgement: put in your own.
    """

    labour_per_hour: NotNegative | None = None
    plaster_per_kg: NotNegative = 0.0
    filament_per_kg: NotNegative = 0.0
    slip_per_litre: NotNegative = 0.0
    firing_per_piece: NotNegative = 0.0
    firing_per_kg: NotNegative = 0.0
    """The kiln's share by the dry weight of the piece; both shares are added up."""
    currency: str = ""
    print_hours: NotNegative = 0.5
    """At the printer, slicing and taking off included; the printer's own hours are not paid."""
    finish_hours: NotNegative = 2.0
    """Gluing, sanding and sealing the master."""
    pour_hours: NotNegative = 1.0
    """For each pour: cottle, soap, mix, pour, clean up."""
    trim_hours: NotNegative = 0.5
    """For each mold: edges, banding, turning while it dries."""
    cast_hours: NotNegative = 0.25
    """For each cast: fill, drain, demold."""
    fettle_hours: NotNegative = 0.25
    """For each cast that is kept: trim, sponge, handle it through drying."""
    fire_hours: NotNegative = 0.1
    """For each cast that is kept: glaze, load and unload."""
    reject_percent: Annotated[float, Meta(ge=0, le=90)] = 10.0
    """Casts that are kept and fired, yet not sold."""
    quantities: tuple[Count, ...] = (1, 10, 50, 100)
    """Good pieces for which a price is told."""


class SheetJob(Part, frozen=True):
    """How the sheet is printed."""

    paper: Literal["a4", "letter"] = "a4"
    studio: str = ""


class Job(Part, frozen=True):
    """Everything the maker asks for; a Job() is a complete job."""

    form: FormJob = FormJob()
    shrinkage: ShrinkageJob = ShrinkageJob()
    stand: StandJob = StandJob()
    pull: PullJob = PullJob()
    cottle: CottleJob = CottleJob()
    parting: PartingJob = PartingJob()
    pieces: PiecesJob = PiecesJob()
    boards: BoardsJob = BoardsJob()
    plaster: PlasterJob = PlasterJob()
    studio: StudioJob = StudioJob()
    cast: CastJob = CastJob()
    drain: DrainJob = DrainJob()
    target: TargetJob = TargetJob()
    printer: PrinterJob = PrinterJob()
    ease: EaseJob = EaseJob()
    estimate: EstimateJob = EstimateJob()
    sheet: SheetJob = SheetJob()


def job_from_toml(text: str) -> Job:
    """The job that a TOML text describes.

    Raises JobError for broken TOML, unknown keys (the known ones are listed), wrong types and
    figures out of range, naming the place in the file.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise JobError(
            f"The job file is not valid TOML: {error}.", code="job-toml", remedy="Mend that line."
        ) from error
    return job_from_dict(raw)


def job_from_dict(raw: dict[str, object]) -> Job:
    """The job that nested dictionaries describe; same errors as `job_from_toml`."""
    try:
        return msgspec.convert(raw, Job)
    except msgspec.ValidationError as error:
        raise JobError(
            f"The job does not fit: {error}.", code="job-field", remedy=f"Known here: {_known(str(error))}."
        ) from error


def _known(message: str) -> str:
    """The keys that the part named in msgspec's message (`... at $.part`) knows."""
    place = message.rpartition("$")[2].strip("`.").split(".")[0] if "$" in message else ""
    kinds: dict[str, type[Part]] = {name: type(getattr(Job(), name)) for name in Job.__struct_fields__}
    return ", ".join(kinds[place].__struct_fields__ if place in kinds else kinds)
