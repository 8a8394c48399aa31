"""Makes the sample meshes and their catalogue, from formulas; run by hand, its output is committed.

    python -m sample_meshes.make

Every form is a function that gives (vertices, faces): (n, 3) float in mm and (m, 3) int, closed,
welded, outward by the right-hand rule, z up, foot on z = 0. `segments` are the sides of a round
section, `rings` the levels along the profile, so that `tumbler(segments=1000, rings=500)` is the
same pot in a million triangles; `made(name)` is any form of forms.toml as it is committed.
"""

from __future__ import annotations

import io
import json
import tomllib
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from sample_meshes.lofts import (
    Area,
    Floats,
    Ints,
    Profile,
    Solid,
    bezier,
    circle,
    curves_of,
    loft,
    lofted_volume,
    ngon_factor,
    polygon_area,
    sampled,
    scaled_area,
    smooth_volume,
    turned,
)

HERE = Path(__file__).parent

FORMS: dict[str, dict[str, Any]] = tomllib.loads((HERE / "forms.toml").read_text(encoding="utf-8"))
PROFILES: dict[str, Profile] = {name: form["profile"] for name, form in FORMS.items() if "profile" in form}

SPHERE_RADIUS = 50.0
TRAY_HALF = 44.0
TILE_HALF, TILE_BACK_HALF, TILE_THICK = 52.0, 55.0, 9.0
TILE_ROSETTE, TILE_PETAL, TILE_BOSS, TILE_BOSS_SHARE = 47.0, 6.0, 4.0, 0.3
FLUTES, FLUTE_DEPTH = 20, 0.035
KIDNEY_LONG, KIDNEY_DENT, KIDNEY_TURN_DEG = 0.28, 0.24, 30.0


# --- the forms ----------------------------------------------------------------------------------


def tumbler(*, segments: int, rings: int) -> Solid:
    """A tumbler wider at the rim, 3.66 degrees of draft."""
    return turned(PROFILES["tumbler"], segments, rings)


def bud_vase(*, segments: int, rings: int) -> Solid:
    """A bud vase with belly, narrow neck, flared lip and a foot recess."""
    return turned(PROFILES["bud_vase"], segments, rings)


def sphere(*, segments: int, rings: int) -> Solid:
    """A ball standing on its pole; an even number of rings puts one on the equator."""
    return loft(sphere_levels(rings), circle(segments))


def sphere_levels(rings: int) -> Floats:
    """(rings + 1, 2) radius and height of the ball at even latitudes."""
    latitude = np.pi * np.arange(rings + 1) / rings
    return SPHERE_RADIUS * np.column_stack([np.sin(latitude), 1 - np.cos(latitude)])


def square_tray(*, segments: int, rings: int) -> Solid:
    """A square tray with rounded corners and a sharp rim: a square and its true offsets."""
    around, corners = circle(segments), np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)], dtype=float)
    quarter = segments // 4
    spread = np.vstack(
        [
            np.take(around, np.arange(q * quarter, (q + 1) * quarter + 1), axis=0, mode="wrap")
            for q in range(4)
        ]
    )
    levels = sampled(PROFILES["square_tray"], rings)
    rim_and_foot = (
        levels[:, 0] >= PROFILES["square_tray"][1][0][0]
    )  # the flat ends need no sections between axis and edge
    levels = np.vstack([levels[0], levels[rim_and_foot], levels[-1]])
    return loft(levels, spread, TRAY_HALF * np.repeat(corners, quarter + 1, axis=0))


def hexagonal_planter(*, rings: int) -> Solid:
    """A hexagonal planter; the profile's radius is that of the circle inscribed in the section."""
    angle = np.radians(60 * np.arange(6))
    spread = np.column_stack([np.cos(angle), np.sin(angle)]) / np.cos(np.pi / 6)
    return loft(sampled(PROFILES["hexagonal_planter"], rings), spread)


def square_area(corner_factor: float) -> Area:
    """The area of the tray's section: the square, its four sides moved out, its rounded corners."""
    return lambda offset: 4 * TRAY_HALF**2 + 8 * TRAY_HALF * offset + corner_factor * offset**2


def fluted_section(segments: int) -> Floats:
    """A round section with FLUTES shallow waves."""
    around = circle(segments)
    angle = np.arange(segments) * (2 * np.pi / segments)
    fluted: Floats = around * (1 + FLUTE_DEPTH * np.cos(FLUTES * angle))[:, None]
    return fluted


def fluted_bowl(*, segments: int, rings: int) -> Solid:
    """A fluted bowl on a recessed foot."""
    return loft(sampled(PROFILES["fluted_bowl"], rings), fluted_section(segments))


def kidney_section(segments: int) -> Floats:
    """A kidney, dented on one side, its widest points level with the axis, turned by KIDNEY_TURN_DEG.

    Polar r = 1 + long cos 2t - dent sin t. Scaled about the chord between its widest points, the
    silhouette of every level lies in one upright plane through the axis.
    """
    angle = np.arange(segments) * (2 * np.pi / segments)
    outline = circle(segments) * (1 + KIDNEY_LONG * np.cos(2 * angle) - KIDNEY_DENT * np.sin(angle))[:, None]
    outline -= (0, outline[np.argmax(outline[:, 0]), 1])
    turn = np.radians(KIDNEY_TURN_DEG)
    return np.asarray(outline @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]))


def kidney_vase(*, segments: int, rings: int) -> Solid:
    """A vase of kidney section; halves come off only across the dent, 120 degrees from x."""
    return loft(sampled(PROFILES["kidney_vase"], rings), kidney_section(segments))


def relief_tile(*, cells: int) -> Solid:
    """A tile with an eight-petalled rosette; its sides widen toward the back (z = 0)."""
    line = np.linspace(-1, 1, cells + 1)
    x, y = np.meshgrid(line * TILE_HALF, line * TILE_HALF, indexing="ij")
    vertices = np.column_stack([x.ravel(), y.ravel(), TILE_THICK + rosette(x, y).ravel()])
    index = np.arange(len(vertices)).reshape(cells + 1, cells + 1)
    a, b, c, d = (part.ravel() for part in (index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]))
    front = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    edge = np.concatenate([index[:-1, 0], index[-1, :-1], index[:0:-1, -1], index[0, :0:-1]])
    back = vertices[edge] * (TILE_BACK_HALF / TILE_HALF, TILE_BACK_HALF / TILE_HALF, 0)
    low = len(vertices) + np.arange(len(edge))
    centre = np.full(len(edge), len(vertices) + len(edge))
    after, low_after = np.roll(edge, -1), np.roll(low, -1)
    sides = np.vstack([np.column_stack([low, low_after, after]), np.column_stack([low, after, edge])])
    bottom = np.column_stack([centre, low_after, low])
    return np.vstack([vertices, back, (0, 0, 0)]), np.vstack([front, sides, bottom]).astype(np.int32)


def rosette(x: Floats, y: Floats) -> Floats:
    """Height of the relief over the tile's face, with u = (r/R)^2 and t the angle.

    Petals 27/4 u (1-u)^2 (1 + cos 8t)/2 times their height, and a boss (1 - u/s^2)^2 times its own.
    """
    share = (x**2 + y**2) / TILE_ROSETTE**2
    within = np.clip(1 - share, 0, None)
    petals = TILE_PETAL * 27 / 4 * share * within**2 * (1 + np.cos(8 * np.arctan2(y, x))) / 2
    boss = TILE_BOSS * np.clip(1 - share / TILE_BOSS_SHARE**2, 0, None) ** 2
    return np.asarray(petals + boss)


def tube(
    path: Profile, half_thick: tuple[float, ...], half_wide: tuple[float, ...], *, sides: int, steps: int
) -> Solid:
    """A handle: an ellipse swept along a chain of curves in the plane y = 0, its ends capped.

    path: (x, z) control points. half_thick (in the plane) and half_wide (along y) run along the
    path, piecewise cubic through evenly spaced values, flat at the ends.
    """
    from scipy.interpolate import PchipInterpolator

    spine = np.vstack(
        [curves_of(path)[0][:1], *[bezier(c, np.linspace(0, 1, steps + 1))[1:] for c in curves_of(path)]]
    )
    share = np.linspace(0, 1, len(spine))
    thick = PchipInterpolator(np.linspace(0, 1, len(half_thick)), half_thick)(share)
    wide = PchipInterpolator(np.linspace(0, 1, len(half_wide)), half_wide)(share)
    along = np.gradient(spine, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    across = np.column_stack([along[:, 1], -along[:, 0]])
    around = circle(sides)
    in_plane = spine[:, None] + (thick[:, None] * around[:, 0])[..., None] * across[:, None]
    sideways = wide[:, None] * around[:, 1]
    rings = np.stack([in_plane[..., 0], sideways, in_plane[..., 1]], axis=-1)
    _, faces = loft(np.zeros((len(spine) + 2, 2)), around)
    ends = [(spine[0, 0], 0, spine[0, 1]), (spine[-1, 0], 0, spine[-1, 1])]
    return np.vstack([ends[0], rings.reshape(-1, 3), ends[1]]), faces


def united(*solids: Solid) -> Solid:
    """The union of solids, by manifold3d."""
    import manifold3d

    parts = [
        manifold3d.Manifold(manifold3d.Mesh64(vertices, faces.astype(np.uint64)))
        for vertices, faces in solids
    ]
    return from_manifold(manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add))


def from_manifold(body: Any) -> Solid:
    """The vertices and faces of a manifold3d body, checked, short edges from the cut removed."""
    mesh = body.simplify(1e-4).to_mesh64()  # a cut leaves edges too short for a float32 file
    if str(body.status()) != "Error.NoError":
        raise ValueError(f"manifold3d says {body.status()}")
    return np.array(mesh.vert_properties[:, :3], dtype=float, order="C"), np.array(
        mesh.tri_verts, dtype=np.int32, order="C"
    )


def mug(*, segments: int, rings: int) -> Solid:
    """A mug with a handle in the plane y = 0; flat foot."""
    path: Profile = (((36, 77),), ((52, 86), (74, 82), (74, 59)), ((74, 38), (56, 31), (36, 25)))
    handle = tube(
        path,
        (6.2, 4.6, 4.4, 4.4, 6),
        (9.5, 8, 7.2, 6.6, 8),
        sides=max(8, segments // 16 * 4),
        steps=rings // 2,
    )
    return united(turned(PROFILES["mug"], segments, rings), handle)


def pitcher(*, segments: int, rings: int) -> Solid:
    """A pitcher with spout (toward -x), handle (toward +x) and foot recess."""
    vertices, faces = turned(PROFILES["pitcher"], segments, rings)
    radius, from_spout = (
        np.hypot(vertices[:, 0], vertices[:, 1]),
        np.arctan2(np.abs(vertices[:, 1]), -vertices[:, 0]),
    )
    rise = np.clip((vertices[:, 2] - 112) / 46, 0, 1)
    outer = np.clip(
        radius / np.interp(vertices[:, 2], [112, 158], [36, 43]), 0, 1
    )  # the flat top keeps its centre
    pull = 15 * rise**2 * np.exp(-((from_spout / np.radians(24)) ** 2)) * outer**2
    vertices[:, :2] *= (1 + np.divide(pull, radius, out=np.zeros_like(pull), where=radius > 1e-9))[:, None]
    path: Profile = (((35, 139),), ((58, 158), (88, 142), (86, 108)), ((84, 82), (70, 68), (49, 58)))
    handle = tube(path, (6.8, 5.4, 5, 5, 6.6), (11, 9, 8, 7.4, 9), sides=32, steps=22)
    return united((vertices, faces), handle)


def three_lug_vase(*, segments: int, rings: int) -> Solid:
    """A vase with three loops on its shoulder, a third of a turn apart: no two halves free them."""
    path: Profile = (((40, 118),), ((54, 128), (66, 118), (66, 102)), ((66, 90), (60, 82), (46, 78)))
    vertices, faces = tube(path, (5, 4, 4, 5), (6, 5, 5, 6), sides=24, steps=14)
    lugs = []
    for third in range(3):
        c, s = np.cos(2 * np.pi * third / 3), np.sin(2 * np.pi * third / 3)
        lugs.append((vertices @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]), faces))
    return united(turned(PROFILES["three_lug_vase"], segments, rings), *lugs)


def ring_vase(*, segments: int, rings: int) -> Solid:
    """A ring standing on a flat foot with a neck on top; the eye of the ring looks along y."""
    around = np.linspace(0, 2 * np.pi, segments + 1)[:-1]
    section = circle(rings)
    reach = 52 + 17 * section[:, 0]
    torus = np.stack(
        [
            np.sin(around)[:, None] * reach,
            np.broadcast_to(19 * section[:, 1], (segments, rings)),
            76 + np.cos(around)[:, None] * reach,
        ],
        axis=-1,
    ).reshape(-1, 3)
    here = np.arange(segments * rings).reshape(segments, rings)
    beside, above = np.roll(here, -1, axis=0), np.roll(here, -1, axis=1)
    corner = np.roll(beside, -1, axis=1)
    faces = np.concatenate(
        [np.stack([here, corner, above], -1), np.stack([here, beside, corner], -1)]
    ).reshape(-1, 3)
    foot: Profile = (
        ((0, 0),),
        ((25, 0),),
        ((26.4, 0), (27, 0.7), (26.8, 2)),
        ((25, 8), (17, 12), (15, 22)),
        ((0, 22),),
    )
    neck: Profile = (
        ((0, 130),),
        ((10, 130),),
        ((10, 146), (9.5, 152), (10, 158)),
        ((10.6, 164), (14, 169), (17, 172)),
        ((0, 172),),
    )
    return united(
        (torus, faces.astype(np.int32)),
        turned(foot, segments, rings // 2),
        turned(neck, segments, rings // 2),
    )


def bird(*, edge: float) -> Solid:
    """A small bird on a flat base, facing +x, the same on both sides of y = 0; edge: mesh size, mm.

    Ellipsoids blended by a smooth minimum of their distance bounds, cut flat at the foot.
    """
    import manifold3d

    mirror_half = manifold3d.Manifold.level_set(bird_field, [-64, -8, -8, 54, 36, 84], edge, 0.0, 1e-3)
    half = mirror_half.trim_by_plane((0, 1, 0), 0.0).trim_by_plane((0, 0, 1), 0.0)
    return from_manifold(half + half.mirror((0, 1, 0)))


BIRD_PARTS = (  # centre x, y, z; half axes; nose up by degrees
    ((0.0, 0.0, 33.0), (31.0, 22.0, 23.0), 14.0),  # body
    ((22.0, 0.0, 59.0), (14.5, 13.0, 13.5), 0.0),  # head
    ((37.5, 0.0, 57.0), (10.0, 3.4, 3.2), -12.0),  # beak
    ((-38.0, 0.0, 38.0), (20.0, 9.5, 4.6), -24.0),  # tail
    ((-6.0, 17.5, 35.0), (21.0, 7.5, 12.0), 16.0),  # wing
    ((-1.0, 0.0, 0.0), (22.0, 18.5, 18.0), 0.0),  # base
)
BIRD_BLEND = 6.5


def bird_field(x: float, y: float, z: float) -> float:
    """Positive inside the bird; about the distance to its surface in mm."""
    from math import cos, exp, log, radians, sin, sqrt

    total = 0.0
    for (cx, cy, cz), (ax, ay, az), nose in BIRD_PARTS:
        c, s = cos(radians(nose)), sin(radians(nose))
        dx, dy, dz = x - cx, abs(y) - cy, z - cz
        u, v, w = (c * dx + s * dz), dy, (c * dz - s * dx)
        k = sqrt((u / ax) ** 2 + (v / ay) ** 2 + (w / az) ** 2)
        g = sqrt((u / ax**2) ** 2 + (v / ay**2) ** 2 + (w / az**2) ** 2)
        distance = k * (k - 1) / g if g > 0 else -min(ax, ay, az)
        total += exp(-max(distance, -60.0) / (BIRD_BLEND / 2))
    return BIRD_BLEND / 2 * log(total) if total > 0 else -100.0


# --- volumes by formula -------------------------------------------------------------------------


def volumes(name: str, **resolution: int) -> tuple[float, float] | None:
    """The mesh's exact volume and the smooth form's; None where there is no formula."""
    if "volume_formula" not in FORMS[name]:
        return None
    resolution = {**FORMS[name]["resolution"], **resolution}
    if name == "relief_tile":
        return tile_volumes(**resolution)
    rings = resolution["rings"]
    of_mesh, of_form = section_areas(name, resolution.get("segments", 6))
    if name == "sphere":
        return lofted_volume(sphere_levels(rings), of_mesh), 4 / 3 * np.pi * SPHERE_RADIUS**3
    return lofted_volume(sampled(PROFILES[name], rings), of_mesh), smooth_volume(PROFILES[name], of_form)


def section_areas(name: str, sides: int) -> tuple[Area, Area]:
    """The area of a lofted form's section by its radius: of the polygon, and of the curve."""
    if name == "square_tray":
        return square_area(ngon_factor(sides)), square_area(np.pi)
    if name == "hexagonal_planter":
        return scaled_area(2 * 3**0.5), scaled_area(2 * 3**0.5)
    if name == "fluted_bowl":
        return scaled_area(polygon_area(fluted_section(sides))), scaled_area(np.pi * (1 + FLUTE_DEPTH**2 / 2))
    if name == "kidney_vase":
        waves = 1 + (KIDNEY_LONG**2 + KIDNEY_DENT**2) / 2
        return scaled_area(polygon_area(kidney_section(sides))), scaled_area(np.pi * waves)
    return scaled_area(ngon_factor(sides)), scaled_area(np.pi)


def tile_volumes(*, cells: int) -> tuple[float, float]:
    """The tile: a frustum of squares, and the relief over its face, as meshed and as drawn."""
    front, back = (2 * TILE_HALF) ** 2, (2 * TILE_BACK_HALF) ** 2
    slab = TILE_THICK / 3 * (front + back + (front * back) ** 0.5)
    line = np.linspace(-TILE_HALF, TILE_HALF, cells + 1)
    height = rosette(*np.meshgrid(line, line, indexing="ij"))
    halves = 2 * height[:-1, :-1] + 2 * height[1:, 1:] + height[1:, :-1] + height[:-1, 1:]
    relief = float(halves.sum()) / 6 * (2 * TILE_HALF / cells) ** 2
    disc = np.pi * TILE_ROSETTE**2
    drawn = disc * (TILE_PETAL * 27 / 8 / 12 + TILE_BOSS * TILE_BOSS_SHARE**2 / 3)
    return slab + relief, slab + drawn


# --- files --------------------------------------------------------------------------------------

SUFFIX = {"fluted_bowl": ".obj", "hexagonal_planter": ".3mf", "relief_tile": ".ply"}
MM_PER_UNIT = {"mm": 1.0, "cm": 10.0}
SHAPED: dict[str, Callable[..., Solid]] = {
    shape.__name__: shape
    for shape in (
        *(sphere, square_tray, hexagonal_planter, fluted_bowl, kidney_vase, relief_tile),
        *(mug, pitcher, three_lug_vase, ring_vase, bird),
    )
}
TURNED = tuple(name for name in FORMS if name not in SHAPED)


def made(name: str, **resolution: Any) -> Solid:
    """A form of forms.toml, mm, z up: at the resolution it is committed in, or at another."""
    resolution = {**FORMS[name]["resolution"], **resolution}
    return turned(PROFILES[name], **resolution) if name in TURNED else SHAPED[name](**resolution)


def file_name(name: str) -> str:
    """The form's file in this folder."""
    return name.replace("_", "-") + SUFFIX.get(name, ".stl")


def as_filed(name: str, vertices: Floats) -> Floats:
    """The vertices in the file's own unit and axes, float32 as meshes are mostly stored."""
    form = FORMS[name].get("job", {}).get("form", {})
    if form.get("up") == "y":
        vertices = np.column_stack([vertices[:, 0], vertices[:, 2], -vertices[:, 1]])
    return (vertices / MM_PER_UNIT[form.get("units", "mm")]).astype(np.float32)


def three_mf(vertices: Floats, faces: Ints) -> bytes:
    """3MF, millimetres, the archive's dates fixed."""
    points = "".join(f'<vertex x="{x:.9g}" y="{y:.9g}" z="{z:.9g}"/>' for x, y, z in vertices)
    corners = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces)
    xml, relation = (
        '<?xml version="1.0" encoding="UTF-8"?>',
        "application/vnd.openxmlformats-package.relationships",
    )
    package, core = (
        "http://schemas.openxmlformats.org/package/2006",
        "http://schemas.microsoft.com/3dmanufacturing",
    )
    parts = {
        "[Content_Types].xml": f'{xml}<Types xmlns="{package}/content-types">'
        f'<Default Extension="rels" ContentType="{relation}+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
        "</Types>",
        "_rels/.rels": f'{xml}<Relationships xmlns="{package}/relationships">'
        f'<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="{core}/2013/01/3dmodel"/></Relationships>',
        "3D/3dmodel.model": f'{xml}<model unit="millimeter" xml:lang="en-US" xmlns="{core}/core/2015/02">'
        f'<resources><object id="1" type="model"><mesh><vertices>{points}</vertices>'
        f"<triangles>{corners}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>',
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, text in parts.items():
            archive.writestr(zipfile.ZipInfo(part, (2000, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def filed(name: str) -> bytes:
    """The form's file, byte for byte the same each time."""
    import trimesh

    vertices, faces = made(name)
    vertices, suffix = as_filed(name, vertices), SUFFIX.get(name, ".stl")
    if suffix == ".3mf":
        return three_mf(vertices, faces)
    written = trimesh.Trimesh(vertices, faces, process=False).export(file_type=suffix[1:])
    return written.encode() if isinstance(written, str) else bytes(written)


def catalog_entry(name: str) -> dict[str, Any]:
    """What a reader of the file may expect of it."""
    form = FORMS[name]
    vertices, faces = made(name)
    known = volumes(name)
    return {
        "file": file_name(name),
        "title": form["title"],
        "units": form.get("job", {}).get("form", {}).get("units", "mm"),
        "up": form.get("job", {}).get("form", {}).get("up", "z"),
        "closed": True,
        "hollow": form.get("hollow", False),
        "triangles": len(faces),
        "size_mm": [round(float(size), 3) for size in np.ptp(vertices, axis=0)],
        "volume_mm3": None if known is None else round(known[0], 1),
        "smooth_volume_mm3": None if known is None else round(known[1], 1),
        "volume_formula": form.get("volume_formula"),
        "opening": form["opening"],
        "job": form.get("job", {}),
        "family": form["family"] or None,
        "pieces": form["pieces"] or None,
        "must_release": form["must_release"],
        "witness": form.get("witness"),
        "locked": form.get("locked", []),
        "note": form["note"],
    }


def main() -> None:
    """Writes every mesh and the catalogue into this folder."""
    for name in FORMS:
        (HERE / file_name(name)).write_bytes(filed(name))
    catalog = {name: catalog_entry(name) for name in FORMS}
    (HERE / "catalog.json").write_text(json.dumps(catalog, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
