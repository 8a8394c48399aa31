"""Draining: puddles of real casts by formula, the least tilt against every other, molds that stand or topple."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
import trimesh

from moldprep.cottle import Block, choose_block
from moldprep.drain import SLAT_MM, Drain, Hold, Tilt, drain_cast, gravity
from moldprep.drain.holds import centre_of_mass, on_slats
from moldprep.drain.remarks import about_holds
from moldprep.formulas.gypsum import wet_density_kg_m3
from moldprep.geometry.distance import joined_to
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.puddle import hollow_in, left_standing
from moldprep.geometry.solids import difference, from_manifold, prism, to_manifold, union
from moldprep.inside import Inside, cast_inside
from moldprep.job import CastJob, CottleJob, DrainJob, PiecesJob, PullJob, ShrinkageJob, StandJob, TargetJob
from moldprep.master import Master
from moldprep.parting import Layer, Parting
from moldprep.pieces import Pieces, cut_pieces
from moldprep.pieces.drip import STEADY_MM
from moldprep.sizing import size_master
from moldprep.stand import Stand, stand_master
from tests.forms import from_trimesh, turned
from tests.molds import parted

SECTIONS = 192
PLASTER_WALL = 30.0
WALL = 4.0
AS_DRAWN = ShrinkageJob()


def near(ml: float) -> object:
    """Within 1 % or 0.5 mL, whichever is larger."""
    return pytest.approx(ml, rel=0.01, abs=0.5)


class Cast:
    """A form in a mold of two halves, up to draining."""

    def __init__(
        self, form: Mesh, *, shrinkage: ShrinkageJob = AS_DRAWN, bevel: float = 0.0, side: float = 0.0
    ) -> None:
        sizing = size_master(Master("form", form, (), "mm", "", ()), shrinkage, TargetJob())
        self.stand: Stand = stand_master(sizing, StandJob(opening="rim"), wall_mm=PLASTER_WALL)
        self.inside: Inside = cast_inside(self.stand, sizing, CastJob(wall_mm=WALL))
        self.block: Block = choose_block(self.stand, CottleJob(kind="box"), wall_mm=PLASTER_WALL)
        self.parting: Parting = parted(Layer(-PLASTER_WALL, self.block.top_mm, "split", side, 0.0))
        self.bevel = bevel
        finish = PiecesJob(natches="none", chamfer_mm=0, drip_bevel_deg=bevel)
        self.pieces: Pieces = cut_pieces(self.stand, self.block, self.parting, PullJob(), finish)

    @cache  # noqa: B019
    def drain(self, job: DrainJob = DrainJob()) -> Drain:  # noqa: B008
        found = drain_cast(
            self.inside, self.stand, self.block, self.parting, self.pieces, job, bevel_deg=self.bevel
        )
        assert found is not None
        return found


def codes(drain: Drain) -> dict[str, str]:
    return {finding.code: finding.level for finding in drain.findings}


@cache
def cup() -> Cast:
    """80 mm wide, 120 mm high."""
    return Cast(turned([(0, 0), (40, 0), (40, 120), (0, 120)], sections=SECTIONS))


BODY, NECK, SHOULDER = 40.0, 18.0, 70.0


@cache
def bottle() -> Cast:
    return Cast(
        turned(
            [(0, 0), (BODY, 0), (BODY, SHOULDER), (NECK, SHOULDER), (NECK, 95), (0, 95)], sections=SECTIONS
        )
    )


@cache
def inturned() -> Cast:
    """A ring of 20 mm rises round a neck, with plaster between."""
    profile = [(0, 0), (45, 0), (45, 80), (25, 80), (25, 50), (20, 50), (20, 95), (0, 95)]
    return Cast(turned(profile, sections=SECTIONS))


POT, TUBE, LENGTH, ROOT = 28.0, 16.0, 100.0, 30.0


def with_blind_handle(shrinkage: float = 0.0, side: float = 0.0) -> Cast:
    return _with_blind_handle(shrinkage, side)


@cache
def _with_blind_handle(shrinkage: float, side: float) -> Cast:
    """A tube of radius 16 leaves the axis of a pot at z = 30, up and out at 45 degrees towards x, closed at 100 mm."""
    tube = trimesh.creation.cylinder(TUBE, LENGTH, sections=SECTIONS)
    tube.apply_translation([0, 0, LENGTH / 2])
    tube.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 4, [0, 1, 0]))
    tube.apply_translation([0, 0, ROOT])
    pot = turned([(0, 0), (POT, 0), (POT, 140), (0, 140)], sections=SECTIONS)
    job = ShrinkageJob(total_percent=shrinkage) if shrinkage else AS_DRAWN
    return Cast(union([pot, from_trimesh(tube)]), shrinkage=job, side=side)


def tube_beyond(spill: float, radius: float, end: float) -> float:
    """mL of a tube at 45 degrees above a level that crosses its axis before its end: area times length on the axis."""
    begins = (spill - ROOT) * np.sqrt(2)
    assert end - begins > radius  # the end is all wet
    return float(np.pi * radius**2 * (end - begins)) / 1000


ROOT_EDGE = ROOT + POT + TUBE * np.sqrt(2)
"""Height of the highest place at which the tube leaves the pot."""


# --- the puddle ---------------------------------------------------------------------------------


def test_a_cup_drains_at_every_tilt() -> None:
    drain = cup().drain()
    assert [tilt.tilt_deg for tilt in drain.tilts] == [0, 20, 40, 60, 80]
    assert max(tilt.left_ml for tilt in drain.tilts) < 0.01
    assert drain.least is drain.best is drain.straight and drain.straight.tilt_deg == 0
    assert drain.stays == () and drain.pockets == () and drain.findings == ()
    assert all(section.puddles.is_empty for section in drain.sections)


def test_a_bottle_keeps_the_ungula_on_its_shoulder_at_each_tilt() -> None:
    """The surface touches the lip, round of the wall's radius, and meets the shoulder a wall times tan(tilt / 2)
    within the neck's own radius; over the part of a disc beyond it stands an ungula."""
    drain = bottle().drain()
    radius = BODY - WALL
    for tilt in drain.tilts:
        angle = np.radians(tilt.tilt_deg)
        begins = NECK - WALL * np.tan(angle / 2)
        root = np.sqrt(radius**2 - begins**2)
        segment = radius**2 * np.arccos(begins / radius) - begins * root
        highest = np.tan(angle) * (radius - begins)
        if highest < SHOULDER - 2 * WALL:  # the floor stays dry
            assert tilt.left_ml == near(np.tan(angle) * (2 / 3 * root**3 - begins * segment) / 1000)
    assert sum(np.tan(np.radians(t.tilt_deg)) * (radius - NECK) < 62 for t in drain.tilts) == 4


def test_a_trough_behind_an_inturned_rim_never_drains() -> None:
    cast = inturned()
    drain = cast.drain()
    corner = 2 * np.pi * 25.8 * WALL**2 * (1 - np.pi / 4)
    assert drain.straight.left_ml == near((np.pi * (41**2 - 29**2) * 30 + corner) / 1000)
    assert drain.least is None
    # the curve is read on another grid
    assert drain.best.left_ml <= 1.01 * min(tilt.left_ml for tilt in drain.tilts) + 0.5
    assert drain.best.left_ml > 0.1 * cast.inside.capacity_ml and codes(drain)["drain-never"] == "stop"
    (finding,) = [one for one in drain.findings if one.code == "drain-never"]
    assert f"{drain.best.left_ml:.1f} mL" in finding.says and finding.remedy
    for x, y, z in finding.where:
        assert 28 < np.hypot(x, y) < 42 and 45 < z < 77
    assert sum(one.ml for one in drain.stays) == pytest.approx(drain.best.left_ml, abs=0.2)


def test_a_blind_handle_keeps_what_lies_beyond_its_root() -> None:
    drain = with_blind_handle().drain()
    exact = tube_beyond(ROOT_EDGE - WALL, TUBE - WALL, LENGTH - WALL)
    assert drain.straight.left_ml == near(exact)
    (told,) = [one for one in drain.findings if one.code == "drain-tilt"]
    assert told.level == "note" and told.where[0][0] > POT and f"{drain.straight.left_ml:.1f} mL" in told.says
    assert f"{drain.holds[0].prop_mm:.0f} mm" in told.remedy


def test_air_is_shut_in_where_slip_would_stay_before_there_is_a_wall() -> None:
    drain = with_blind_handle().drain()
    (pocket,) = drain.pockets
    exact = tube_beyond(ROOT_EDGE, TUBE, LENGTH)
    pitch = with_blind_handle().inside.distances.pitch
    surface = np.pi * TUBE**2 * np.sqrt(2)  # the lip is sharp, and blunter on the grid
    assert exact - surface * pitch / 1000 < pocket.ml < exact
    top = ROOT + (LENGTH + TUBE) / np.sqrt(2)
    assert pocket.where[2] == pytest.approx(top, abs=3 * pitch) and pocket.where[0] > POT
    assert codes(drain)["air-pocket"] == "warn"


def test_volumes_are_those_of_the_mold_not_of_the_master() -> None:
    """Fired, the file is as drawn; the wet cast is larger by 1 / (1 - S), but its wall is not."""
    drain = with_blind_handle(12.0).drain()
    k = 1 / 0.88
    begins = ((ROOT_EDGE - ROOT) * k - WALL) * np.sqrt(2)
    exact = np.pi * (TUBE * k - WALL) ** 2 * (LENGTH * k - WALL - begins) / 1000
    assert drain.straight.left_ml == near(exact)


def test_a_pass_narrower_than_the_rough_grid_is_not_lost() -> None:
    """Two lobes, joined through a neck of 1.4 mm clear: the outer one alone is no cast."""
    neck = 0.7 + WALL
    profile = [(0, 0), (30, 0), (30, 30), (neck, 55), (neck, 60), (30, 85), (30, 110), (0, 110)]
    cast = Cast(turned(profile, sections=SECTIONS))
    drain = cast.drain()
    # on its side, the inner lobe keeps at least what lies beneath its neck's own height
    lobe = np.pi * (30 - WALL) ** 2 * (30 - 2 * WALL) / 1000
    assert drain.tilts[-1].left_ml > 0.3 * lobe
    assert drain.straight.left_ml < 0.1


# --- the least tilt -----------------------------------------------------------------------------


def test_the_least_tilt_is_the_least_of_all_on_a_fine_grid() -> None:
    cast, job = with_blind_handle(), DrainJob()
    drain = cast.drain()
    assert drain.least is not None and drain.least is drain.best
    assert drain.least.tilt_deg <= 45  # its axis is level
    assert abs(drain.least.azimuth_deg - 180) < 15
    values, ml = cast.inside.distances, cast.inside.growth**3 / 1000
    seeds = np.zeros(values.values.shape, bool)
    seeds[:, :, -1] = True
    level = WALL / cast.inside.growth
    fine = hollow_in(values, level, joined_to(values, level, seeds))

    def left(tilt: float, azimuth: float) -> float:
        return left_standing(fine, gravity(tilt, azimuth)) * ml

    assert left(drain.least.tilt_deg + 0.25, drain.least.azimuth_deg) < job.most_left_ml
    lower = np.array([drain.least.tilt_deg - 1.25, 32, 16])
    around = np.concatenate([np.arange(0, 360, 45.0), [170, 175, 185, 190]])
    assert min(left(tilt, azimuth) for tilt in lower for azimuth in around) >= job.most_left_ml


def test_what_may_stay_is_the_job_s() -> None:
    drain = with_blind_handle().drain(DrainJob(most_left_ml=5.0))
    assert drain.least is not None and drain.best.left_ml < 5
    assert drain.least.tilt_deg < with_blind_handle().drain().best.tilt_deg


def test_a_tilt_that_may_not_be_used_is_not() -> None:
    drain = with_blind_handle().drain(DrainJob(most_tilt_deg=25))
    assert drain.least is None and drain.best.tilt_deg <= 25 and "drain-never" in codes(drain)


# --- how it stands ------------------------------------------------------------------------------


def test_the_centre_of_mass_is_that_of_plaster_and_clay() -> None:
    """Plaster by manifold3d, clay as the cylinder less its inner one (the spare flares; its film is small)."""
    cast = cup()
    seeds = np.zeros(cast.inside.distances.values.shape, bool)
    seeds[:, :, -1] = True
    kept = joined_to(cast.inside.distances, WALL, seeds)
    found = centre_of_mass(cast.pieces, cast.stand, cast.inside, kept, WALL, 70.0)
    whole = prism(cast.block.outline, cast.block.bottom_mm, cast.block.top_mm)
    plaster = difference(whole, to_manifold(cast.stand.mesh))
    heavy = plaster.volume() * wet_density_kg_m3(70) / 1000
    outer, inner = np.pi * 40**2 * 140, np.pi * 36**2 * 136
    clay = (outer - inner) * cast.inside.weights.wet_g / cast.inside.clay_ml
    middle = (outer * 70 - inner * 72) / (outer - inner)
    exact = heavy * from_manifold(plaster).centre_of_mass + clay * np.array([0, 0, middle])
    assert found == pytest.approx(exact / (heavy + clay), abs=0.5)


@pytest.mark.parametrize("tilt", [0.0, 10.0, 25.0, 40.0, 60.0])
def test_a_mold_on_slats_topples_when_its_centre_passes_the_lower_one(tilt: float) -> None:
    cast = cup()
    centre = np.array([3.0, 1.0, 55.0])
    hold = on_slats(Tilt(tilt, 0.0, 0.0), cast.pieces, cast.stand, centre)
    width, depth = cast.block.inner_mm
    angle, above = np.radians(tilt), cast.block.top_mm - 55
    lower = (width / 2 - SLAT_MM - 3) * np.cos(angle) - above * np.sin(angle)
    upper = (width / 2 - SLAT_MM + 3) * np.cos(angle) + above * np.sin(angle)
    assert hold.prop_mm == pytest.approx(width * np.sin(angle), abs=1e-6)
    assert hold.margin_mm == pytest.approx(min(lower, upper, depth / 2 - 1), abs=1e-6)


@pytest.mark.parametrize("side", [0.0, 180.0])
def test_one_that_topples_is_told_and_how_to_hold_it_instead(side: float) -> None:
    drain = with_blind_handle(side=side).drain()
    (hold,) = drain.holds
    assert hold.margin_mm < STEADY_MM
    assert codes(drain)["drain-topples"] == "warn"
    (finding,) = [one for one in drain.findings if one.code == "drain-topples"]
    assert f"{abs(hold.margin_mm):.0f} mm" in finding.says
    # a bevel on the handle's own side would keep the slip in it
    offered = 5 * np.ceil(drain.best.tilt_deg / 5)
    assert ("drip_bevel_deg" in finding.remedy) == (side == 180)
    assert (f"drip_bevel_deg = {offered:.0f}" in finding.remedy) == (side == 180)


@pytest.mark.parametrize(
    ("margin", "tilt", "said"), [(20, 20, []), (20, 40, ["drain-slides"]), (-3, 40, ["drain-topples"])]
)
def test_a_wet_mold_slides_off_steep_slats(margin: float, tilt: float, said: list[str]) -> None:
    hold = Hold("slats", Tilt(tilt, 0.0, 0.0), 10.0, margin)
    assert [finding.code for finding in about_holds((hold,), DrainJob(), None)] == said


@pytest.mark.parametrize(("left", "said"), [(0.4, []), (6.0, ["drain-slides", "bevel-puddle"])])
def test_a_bevel_at_which_slip_stays_is_no_way_to_hold_it(left: float, said: list[str]) -> None:
    slats = Hold("slats", Tilt(40.0, 90.0, 0.5), 60.0, 20.0)
    bevel = Hold("bevel", Tilt(60.0, 0.0, left), 0.0, 12.0)
    found = about_holds((slats, bevel), DrainJob(), None)
    assert [finding.code for finding in found] == said
    assert all("60 mm" in one.remedy for one in found if one.code == "bevel-puddle")


def test_on_its_bevel_a_mold_stands_as_far_in_as_its_flat_says() -> None:
    wide = Cast(turned([(0, 0), (60, 0), (60, 50), (0, 50)], sections=SECTIONS), bevel=60.0)
    slats, bevel = wide.drain().holds
    assert slats.way == "slats" and bevel.way == "bevel" and bevel.tilt.tilt_deg == 60
    pieces = [trimesh.Trimesh(p.mesh.vertices, p.mesh.faces, process=False) for p in wide.pieces.pieces]
    vertices = np.vstack([piece.vertices for piece in pieces])
    normal = gravity(60.0, bevel.tilt.azimuth_deg)
    flat = vertices[vertices @ normal > (vertices @ normal).max() - 1e-6]
    seen = trimesh.geometry.plane_transform([0, 0, 0], normal)[:3, :3]
    hull = shapely.MultiPoint((flat @ seen.T)[:, :2]).convex_hull
    plaster = sum(piece.volume * piece.center_mass for piece in pieces) / sum(
        piece.volume for piece in pieces
    )
    over = shapely.Point((seen @ plaster)[:2])
    away = hull.boundary.distance(over) * (1 if hull.contains(over) else -1)
    assert bevel.margin_mm == pytest.approx(away, abs=3.0)  # the clay film moves it by less


# --- necks, pictures, solid casts ---------------------------------------------------------------


@pytest.mark.parametrize(("neck", "said"), [(18.0, False), (15.0, True)])
def test_a_neck_under_25_mm_clear_gulps(neck: float, said: bool) -> None:
    form = turned([(0, 0), (40, 0), (40, 60), (neck, 100), (neck, 120), (0, 120)], sections=SECTIONS)
    drain = Cast(form).drain()
    assert drain.gulps is said and ("neck-gulps" in codes(drain)) is said


def test_the_section_shows_the_puddle_where_it_stands() -> None:
    cast = with_blind_handle()
    down, held = cast.drain().sections
    spill = ROOT_EDGE - WALL
    assert down.puddles.bounds[1] == pytest.approx(spill, abs=0.6)
    radius, end = TUBE - WALL, LENGTH - WALL
    begins = (spill - ROOT) * np.sqrt(2)
    assert down.puddles.area == pytest.approx(2 * radius * (end - begins), rel=0.05)
    assert down.hollow.buffer(0.01).covers(down.puddles)
    assert held.puddles.area < down.puddles.area / 4
    outline = 2 * (POT - WALL) * (140 - WALL)
    assert down.hollow.area > outline


def test_a_solid_cast_is_not_drained() -> None:
    cast = cup()
    sizing = size_master(Master("form", cast.stand.form, (), "mm", "", ()), ShrinkageJob(), TargetJob())
    solid = cast_inside(cast.stand, sizing, CastJob(mode="solid"))
    assert drain_cast(solid, cast.stand, cast.block, cast.parting, cast.pieces, DrainJob()) is None
