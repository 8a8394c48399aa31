"""Natches on joints whose faces are known by formula: where the rule fits, clear, one way only, of the right sex."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
import shapely
import trimesh
from shapely.geometry.base import BaseGeometry

from moldprep.cottle import Block, choose_block
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import from_manifold, intersection, to_manifold
from moldprep.job import BoardsJob, CottleJob, PiecesJob, PullJob
from moldprep.parting import Layer
from moldprep.pieces import Joint, Natch, Pieces, cut_pieces, plug_for
from moldprep.poses import plan_poses
from moldprep.stand import Stand
from tests.forms import from_trimesh, turned
from tests.molds import UP, parted, stood

SECTIONS = 96
SMALLEST = 8.0
LEAST_CLEAR = 6.0
DEEPEST = 8.0
OUTLINE_MM = 2.0
SPARE_MM = 4.0
"""So much more than a radius must a move miss before the test asks for natches: the search tries moves in steps."""
TOLERANCE = 0.02
"""mm: the chords of a round form of 96 sides stand 0.05 % inside it."""


@dataclass(frozen=True)
class Case:
    """A form, its layers and its cottle. profile: its section in (x, z) when round, in plan when straight."""

    form: Mesh
    layers: tuple[Layer, ...]
    wall: float
    floor: float
    kind: str
    profile: BaseGeometry


def box_case(random: np.random.Generator) -> Case:
    """A box in two pieces, the seam level at about its middle."""
    a, b, height = random.uniform(20, 120, 3)
    form = trimesh.creation.box([a, b, height])
    form.apply_translation([0, 0, height / 2])
    seam = float(height * random.uniform(0.3, 0.7))
    layers = (Layer(-200, seam, "down"), Layer(seam, height, "up"))
    wall, floor = thick(random)
    plan = shapely.box(-a / 2, -b / 2, a / 2, b / 2)
    return Case(from_trimesh(form), layers, wall, floor, "box", plan)


def cylinder_case(random: np.random.Generator) -> Case:
    """A cylinder in halves at any azimuth."""
    radius, height = random.uniform(12, 60), random.uniform(30, 140)
    outline = [(0, 0), (radius, 0), (radius, height), (0, height)]
    layers = (Layer(-200, float(height), "split", float(random.uniform(0, 180)), 0.0),)
    wall, floor = thick(random)
    return Case(turned(outline, sections=SECTIONS), layers, wall, floor, "ring", mirrored(outline))


def vase_case(random: np.random.Generator) -> Case:
    """A bellied vase in halves on a foot piece."""
    foot, belly, neck = random.uniform(15, 40), random.uniform(40, 60), random.uniform(12, 35)
    low, high = random.uniform(25, 60), random.uniform(40, 80)
    outline = [(0, 0), (foot, 0), (belly, low), (neck, low + high), (0, low + high)]
    seam = float(random.uniform(2, 6))
    azimuth = float(random.uniform(0, 180))
    layers = (Layer(-200, seam, "down"), Layer(seam, float(low + high), "split", azimuth, 0.0))
    wall, floor = thick(random)
    return Case(turned(outline, sections=SECTIONS), layers, wall, floor, "ring", mirrored(outline))


def thick(random: np.random.Generator) -> tuple[float, float]:
    """Wall and floor; a third of them too thin for natches, or nearly."""
    if random.random() < 1 / 3:
        return float(random.uniform(5, 13)), float(random.uniform(8, 16))
    return float(random.uniform(15, 60)), float(random.uniform(15, 60))


def mirrored(outline: list[tuple[float, float]]) -> BaseGeometry:
    """The full section of a round form from half of its profile."""
    return shapely.Polygon([*outline, *[(-x, z) for x, z in reversed(outline)]]).buffer(0)


MAKERS: tuple[Callable[[np.random.Generator], Case], ...] = (box_case, cylinder_case, vase_case)
COUNT = 30


@cache
def case(number: int) -> Case:
    return MAKERS[number % len(MAKERS)](np.random.default_rng(1000 + number))


def molded(given: Case, **job: object) -> tuple[Stand, Block, Pieces]:
    stand = stood(given.form, given.floor)
    block = choose_block(stand, CottleJob(kind=given.kind), wall_mm=given.wall)  # type: ignore[arg-type]
    pieces = PiecesJob(**{"chamfer_mm": 0, **job})  # type: ignore[arg-type]
    return stand, block, cut_pieces(stand, block, parted(*given.layers), PullJob(), pieces)


@cache
def cast(number: int) -> tuple[Stand, Block, Pieces]:
    return molded(case(number))


def level(joint: Joint) -> bool:
    return abs(joint.normal[2]) > 0.5


def radius_at(given: Case, height: float) -> float:
    line = shapely.intersection(given.profile, shapely.LineString([(0, height), (1e3, height)]))
    return 0.0 if line.is_empty else float(line.bounds[2])


def known_face(
    given: Case, block: Block, joint: Joint, *, behind: float
) -> tuple[BaseGeometry, BaseGeometry]:
    """Outline of the joint face, and what is left of it beside the widest cavity within so far of it, both in
    plan, or in (along the seam, z) for an upright one: by the form's own figures."""
    top, bottom = float(given.form.bounds[1, 2]), -given.floor
    if level(joint):
        outer: BaseGeometry = shapely.intersection(shapely.Polygon(block.outline), own_side(given, joint))
        at = given.layers[0].high_mm
        if given.kind == "box":
            return outer, shapely.difference(outer, given.profile)
        widest = max(radius_at(given, z) for z in np.linspace(at - behind, at + behind, 60) if z > 0)
        return outer, shapely.difference(outer, shapely.Point(0, 0).buffer(widest, quad_segs=64))
    side = np.linalg.norm(block.outline, axis=1).max()
    low = given.layers[0].high_mm if len(given.layers) > 1 else bottom
    outer = shapely.box(-side, low, side, top)
    return outer, shapely.difference(outer, given.profile)


def own_side(given: Case, joint: Joint) -> BaseGeometry:
    """The half of the plan on which a joint of a half and a foot piece lies; all of it without halves."""
    far = 1e3
    if len(given.layers) == 1 or given.layers[1].kind != "split":
        return shapely.box(-far, -far, far, far)
    azimuth = given.layers[1].azimuth_deg or 0.0
    c, s = np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth))
    ahead = (
        "C" if (c if abs(c) >= abs(s) else s) > 0 else "B"
    )  # left and front come off before right and back
    half = shapely.box(0, -far, far, far) if joint.socket == ahead else shapely.box(-far, -far, 0, far)
    return shapely.affinity.rotate(half, azimuth, origin=(0, 0))


def in_face(joint: Joint, natch: Natch) -> tuple[float, float]:
    """A natch's place in plan, or along the seam and z."""
    if level(joint):
        return natch.where[0], natch.where[1]
    along = np.cross(UP, joint.normal)
    return float(along @ np.array(natch.where)), natch.where[2]


def moves(outer: BaseGeometry, *, steps: int, shifts: bool) -> list[tuple[np.ndarray, np.ndarray]]:
    """Turns and mirrorings with shifts that lay an outline on itself within 2 mm, (2, 2) and (2,)."""
    middle = np.array(outer.centroid.coords[0])
    ring = np.array(shapely.segmentize(outer.exterior, outer.length / 90).coords)[:-1] - middle
    band = shapely.affinity.translate(outer.exterior, *-middle).buffer(OUTLINE_MM)
    shapely.prepare(band)
    by = [np.zeros(2)]
    if shifts:
        by += [0.99 * OUTLINE_MM * np.array([np.cos(a), np.sin(a)]) for a in np.arange(6) * np.pi / 3]
    found = []
    for angle in np.arange(steps) * 2 * np.pi / steps:
        c, s = np.cos(angle), np.sin(angle)
        for turn in (np.array([[c, -s], [s, c]]), np.array([[c, s], [s, -c]])):
            for shift in by:
                moved = ring @ turn.T + shift
                if shapely.contains_xy(band, moved[:, 0], moved[:, 1]).all():
                    found.append((turn, middle + shift - turn @ middle))
    return found


def misses(places: np.ndarray, laid: list[tuple[np.ndarray, np.ndarray]], radius: float) -> np.ndarray:
    """(n,) of (n, k, 2) natches the least over all moves of how far some natch ends beside every socket.

    Moves that leave each natch over its own socket seat there and are no others.
    """
    least = np.full(len(places), np.inf)
    for turn, shift in laid:
        moved = places @ turn.T + shift
        apart = np.linalg.norm(moved[:, :, None] - places[:, None], axis=-1)
        own = np.linalg.norm(moved - places, axis=-1).max(axis=1)
        other = (np.linalg.det(turn) < 0) | (own >= radius)
        least = np.minimum(least, np.where(other, apart.min(axis=2).max(axis=1), np.inf))
    return least


def clear_of(diameter: float) -> float:
    return max(LEAST_CLEAR, diameter / 2)


def rule_fits(outer: BaseGeometry, free: BaseGeometry, seed: int) -> bool:
    """Whether three of the smallest natches have room and fit one way only: thrown at random."""
    room = free.buffer(-(SMALLEST / 2 + LEAST_CLEAR) - TOLERANCE)
    if room.is_empty:
        return False
    random = np.random.default_rng(seed)
    low_x, low_y, high_x, high_y = room.bounds
    thrown = np.column_stack([random.uniform(low_x, high_x, 20_000), random.uniform(low_y, high_y, 20_000)])
    thrown = thrown[shapely.contains_xy(room, thrown[:, 0], thrown[:, 1])]
    if len(thrown) < 100:
        return False
    threes = thrown[random.integers(0, len(thrown), (400, 3))]
    sides = np.linalg.norm(threes - np.roll(threes, 1, axis=1), axis=-1).min(axis=1)
    threes = threes[sides >= 2 * (SMALLEST + LEAST_CLEAR)]
    if not len(threes):
        return False
    needed = SMALLEST / 2 + SPARE_MM
    return bool((misses(threes, moves(outer, steps=180, shifts=False), needed) >= needed).any())


# --- thirty molds -------------------------------------------------------------------------------


@pytest.mark.parametrize("number", range(COUNT))
def test_three_or_more_wherever_the_rule_fits_and_a_warning_where_none_do(number: int) -> None:
    given, (_, block, pieces) = case(number), cast(number)
    bare = []
    for joint in pieces.joints:
        outer, free = known_face(given, block, joint, behind=DEEPEST + LEAST_CLEAR)
        if rule_fits(outer, free, number):
            assert len(joint.natches) >= 3
        if not joint.natches:
            bare.append(joint)
            assert joint.reason
    warned = [finding for finding in pieces.findings if finding.code == "no-natches"]
    assert len(warned) == bool(bare)
    for joint in bare:
        assert f"{joint.socket}–{joint.knob}" in warned[0].says
        assert warned[0].level == "warn" and warned[0].remedy


def test_the_rule_fits_on_most_of_the_joints_and_on_some_it_does_not() -> None:
    joints = [joint for number in range(COUNT) for joint in cast(number)[2].joints]
    assert len(joints) == 10 + 10 + 3 * 10
    natched = sum(bool(joint.natches) for joint in joints)
    assert 25 < natched < 46


@pytest.mark.parametrize("number", range(COUNT))
def test_they_stand_clear_of_cavity_and_edge(number: int) -> None:
    """In the face, and as far as they reach into the plaster."""
    given, (_, block, pieces) = case(number), cast(number)
    around = shapely.LinearRing(block.outline)
    for joint in pieces.joints:
        outer, _ = known_face(given, block, joint, behind=0)
        for natch in joint.natches:
            clear = clear_of(natch.diameter_mm) - TOLERANCE
            place = shapely.Point(in_face(joint, natch))
            if level(joint):
                assert outer.exterior.distance(place) >= natch.diameter_mm / 2 + clear
            else:
                assert (
                    shapely.boundary(outer).distance(shapely.Point(0, natch.where[2]))
                    >= natch.diameter_mm / 2
                )
            corners = from_manifold(plug_for(natch, root=0.01)).vertices
            if given.kind == "box":
                inside = (corners[:, 2] > 0) & (corners[:, 2] < given.form.bounds[1, 2])
                cavity = shapely.distance(given.profile, shapely.points(corners[inside, :2]))
            else:
                flat = np.column_stack([np.hypot(corners[:, 0], corners[:, 1]), corners[:, 2]])
                cavity = shapely.distance(given.profile, shapely.points(flat))
            assert cavity.min(initial=np.inf) >= clear
            assert shapely.distance(around, shapely.points(corners[:, :2])).min() >= clear
            assert corners[:, 2].min() >= -given.floor + clear
            assert corners[:, 2].max() <= given.form.bounds[1, 2] - clear


@pytest.mark.parametrize("number", range(COUNT))
def test_any_other_way_of_laying_the_outline_on_itself_misses_a_socket_by_a_radius(number: int) -> None:
    for joint in cast(number)[2].joints:
        if joint.natches:
            places = np.array([natch.where for natch in joint.natches]) @ joint.rotation[:2].T
            outer = shapely.Polygon(shapely.get_parts(joint.outline)[0].exterior)
            radius = joint.natches[0].diameter_mm / 2
            laid = moves(outer, steps=180, shifts=True)
            assert any(np.linalg.det(turn) < 0 for turn, _ in laid)  # all these faces can be turned over
            assert misses(places[None], laid, radius)[0] >= radius


@pytest.mark.parametrize("number", range(COUNT))
def test_the_joints_face_is_the_one_known(number: int) -> None:
    given, (_, block, pieces) = case(number), cast(number)
    for joint in pieces.joints:
        outer, free = known_face(given, block, joint, behind=0)
        if level(joint):
            assert joint.outline.area == pytest.approx(outer.area, rel=1e-6)
            assert joint.area_mm2 == pytest.approx(free.area, rel=2e-3)
            flat = np.array(outer.centroid.coords[0])
            found = np.array(joint.outline.centroid.coords[0]) @ joint.rotation[:2, :2]
            assert found == pytest.approx(flat, abs=1e-6)
        else:
            assert joint.outline.bounds[1::2] == pytest.approx(outer.bounds[1::2], abs=1e-6)


# --- sex, draft, clearance ----------------------------------------------------------------------


def frustum(natch: Natch, *, loose: float = 0.0) -> float:
    """Volume of a plug of 48 sides, h/3 (A + B + sqrt(A B))."""
    area = 48 / 2 * np.sin(2 * np.pi / 48)
    wide, narrow = natch.diameter_mm / 2 + loose, natch.tip_mm / 2 + loose
    return float(area * (natch.depth_mm + loose) / 3 * (wide**2 + narrow**2 + wide * narrow))


@pytest.mark.parametrize("number", range(6))
def test_what_is_poured_first_has_the_sockets_and_the_next_the_knobs(number: int) -> None:
    stand, block, pieces = cast(number)
    plain = {piece.letter: piece.volume_mm3 for piece in molded(case(number), natches="none")[2].pieces}
    pour = [pose.letter for pose in plan_poses(pieces, stand, block, BoardsJob())]
    for joint in pieces.joints:
        assert pour.index(joint.socket) < pour.index(joint.knob)
    for piece in pieces.pieces:
        lost = sum(
            frustum(n) for joint in pieces.joints if joint.socket == piece.letter for n in joint.natches
        )
        gained = sum(
            frustum(n) for joint in pieces.joints if joint.knob == piece.letter for n in joint.natches
        )
        assert piece.volume_mm3 - plain[piece.letter] == pytest.approx(gained - lost, abs=1e-3)


@pytest.mark.parametrize("number", range(6, 12))
def test_knobs_leave_their_sockets_along_the_pull_with_the_draft_asked_for(number: int) -> None:
    for asked in (15.0, 5.0 if number % 2 else 30.0):
        _, _, pieces = cast(number) if asked == 15.0 else molded(case(number), natch_taper_deg=asked)
        order = [piece.letter for piece in pieces.pieces]
        pulls = {piece.letter: np.array(piece.pull) for piece in pieces.pieces}
        for joint in pieces.joints:
            first = min(joint.socket, joint.knob, key=order.index)
            for natch in joint.natches:
                along = pulls[first] @ np.array(natch.axis)
                assert along == pytest.approx(1 if first == joint.socket else -1)
                drawn_in = (natch.diameter_mm - natch.tip_mm) / 2
                assert np.degrees(np.arctan2(drawn_in, natch.depth_mm)) == pytest.approx(asked)
                assert 0 < natch.depth_mm <= DEEPEST and natch.tip_mm >= natch.diameter_mm / 3 - 1e-9


@pytest.mark.parametrize("number", range(3))
def test_printed_inserts_have_their_clearance_all_round_on_both_sides(number: int) -> None:
    loose = 0.3
    _, _, made = molded(case(number), natches="insert", natch_clearance_mm=loose)
    plain = {piece.letter: piece.volume_mm3 for piece in molded(case(number), natches="none")[2].pieces}
    solids = {piece.letter: to_manifold(piece.mesh) for piece in made.pieces}
    for piece in made.pieces:
        own = [
            n for joint in made.joints if piece.letter in (joint.socket, joint.knob) for n in joint.natches
        ]
        lost = sum(frustum(natch, loose=loose) for natch in own)
        assert plain[piece.letter] - piece.volume_mm3 == pytest.approx(lost, abs=1e-3)
    for joint in made.joints:
        for natch in joint.natches:
            tight = plug_for(natch, clearance=loose - 0.05, root=0)
            assert intersection(tight, solids[joint.socket]).volume() == pytest.approx(0, abs=1e-6)


# --- where there are none, or shallow ones ------------------------------------------------------


def test_stacked_halves_have_none_between_their_layers() -> None:
    """They slide off sideways, past each other."""
    form = turned([(0, 0), (40, 0), (40, 120), (0, 120)], sections=SECTIONS)
    layers = (Layer(-200, 60, "split", 0.0, 0.0), Layer(60, 120, "split", 90.0, 0.0))
    _, _, pieces = molded(Case(form, layers, 40.0, 40.0, "ring", shapely.Polygon()))
    stacked = [joint for joint in pieces.joints if level(joint)]
    beside = [joint for joint in pieces.joints if not level(joint)]
    assert len(stacked) == 4 and len(beside) == 2
    assert all(not joint.natches and "slide" in joint.reason for joint in stacked)
    assert all(len(joint.natches) >= 3 for joint in beside)
    assert "no-natches" not in [finding.code for finding in pieces.findings]


def shallow(floor: float, wall: float) -> Pieces:
    """A plate on a seam 1 mm above its underside: the piece below is a floor and a millimetre thick."""
    plate = trimesh.creation.box([90, 70, 20])
    plate.apply_translation([0, 0, 10])
    layers = (Layer(-200, 1, "down"), Layer(1, 20, "up"))
    return molded(Case(from_trimesh(plate), layers, wall, floor, "box", shapely.Polygon()))[2]


def test_where_the_plaster_behind_is_thin_the_natches_are_shallower() -> None:
    """Socket and what it must be clear of share the thickness: 6 mm of plaster stay behind it."""
    for floor in (30.0, 11.0, 10.0, 9.0, 8.0):
        pieces = shallow(floor, 27.0)
        (joint,) = pieces.joints
        assert len(joint.natches) >= 3
        for natch in joint.natches:
            assert natch.depth_mm + LEAST_CLEAR <= floor + 1
            assert natch.depth_mm >= 3
    deep = shallow(30.0, 27.0).joints[0].natches[0].depth_mm
    assert deep == pytest.approx(5)  # half of 27 / 3 mm, at least 5 (common practice)


def test_where_even_shallow_ones_would_break_through_there_are_none() -> None:
    pieces = shallow(6.0, 27.0)
    (joint,) = pieces.joints
    assert joint.natches == ()
    assert "behind" in joint.reason
    (finding,) = [finding for finding in pieces.findings if finding.code == "no-natches"]
    assert "behind" in finding.says


def test_natches_of_two_joints_of_one_piece_keep_clear_of_each_other() -> None:
    """Plaster between the sockets, 6 mm of it, at a corner where two joints meet too."""
    for number in range(2, COUNT, 3):
        joints = cast(number)[2].joints
        for k, one in enumerate(joints):
            for other in joints[:k]:
                for natch in one.natches:
                    for beside in other.natches:
                        apart = plug_for(natch, root=0.01).min_gap(plug_for(beside, root=0.01), 10)
                        assert apart >= LEAST_CLEAR - TOLERANCE
