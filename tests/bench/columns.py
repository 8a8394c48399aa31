"""Timings of the column kernel, run by hand: python -m tests.bench.columns [--json FILE] [--quick]

(a) time per direction at 128 and 512 lines for 10 thousand, 100 thousand and 1 million triangles,
    beside per-face occlusion by trimesh + embreex and by `face_blocked`, in the same run;
(b) 300 directions at 1 million triangles, the stand-in's making and the judging of the best on the
    full mesh counted, beside the same 300 by embreex.

Prints tables and writes JSON. To time another search in (b), add a row to `SEARCHES`.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import time
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from rich.console import Console
from rich.table import Table
from trimesh.ray.ray_pyembree import RayMeshIntersector

from moldprep.geometry.coarse import coarse
from moldprep.geometry.columns import cast, frame_for, gap_mm3, solid_intervals
from moldprep.geometry.columns.directions import study_directions
from moldprep.geometry.columns.occlusion import face_blocked
from moldprep.geometry.mesh import Mesh

THREADS = os.cpu_count() or 1
LINES = (128, 512)
SIZES = {"10 thousand": (100, 50), "100 thousand": (400, 125), "1 million": (1000, 500)}
"""Faces, and the sectors and rings that make about so many."""
DIRECTIONS = 300
FULL_LINES = 512
JUDGED = 5
OFFSET = 0.02


def dented_vase(sectors: int, rings: int) -> Mesh:
    """A closed vase with a belly and five deep dents, undercut from every side; 2 x sectors x rings faces."""
    angle, t = np.meshgrid(np.arange(sectors) / sectors * 2 * np.pi, np.linspace(0, 1, rings + 1))
    dents = 9 * np.exp(-40 * (t - 0.3) ** 2) * np.maximum(0, np.cos(5 * angle)) ** 2
    radius = 35 + 12 * np.sin(5 * t) - dents
    wall = np.stack([radius * np.cos(angle), radius * np.sin(angle), 140 * t], axis=-1).reshape(-1, 3)
    at = np.arange(rings * sectors)
    beside = at - at % sectors + (at + 1) % sectors
    quads = [
        np.column_stack([at, beside, beside + sectors]),
        np.column_stack([at, beside + sectors, at + sectors]),
    ]
    rim = np.arange(sectors)
    after, foot, top = (rim + 1) % sectors, len(wall), len(wall) + 1
    caps = [
        np.column_stack([np.full(sectors, foot), after, rim]),
        np.column_stack([np.full(sectors, top), rings * sectors + rim, rings * sectors + after]),
    ]
    return Mesh(np.concatenate([wall, [[0, 0, 0], [0, 0, 140]]]), np.concatenate([*quads, *caps]))


def half_directions(count: int) -> np.ndarray:
    """(count, 3) unit vectors spread evenly over the upper half of the sphere (a Fibonacci spiral)."""
    k = np.arange(count) + 0.5
    z, turn = k / count, np.pi * (1 + 5**0.5) * k
    level = np.sqrt(1 - z**2)
    return np.column_stack([level * np.cos(turn), level * np.sin(turn), z])


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    begun = time.perf_counter()
    found = work()
    return time.perf_counter() - begun, found


def per_direction(work: Callable[[np.ndarray], Any], directions: np.ndarray) -> float:
    """Median seconds over the directions, after one run to warm up."""
    work(directions[0])
    return statistics.median(timed(lambda d=d: work(d))[0] for d in directions)


def columns_of(mesh: Mesh, lines: int) -> Callable[[np.ndarray], float]:
    return lambda d: gap_mm3(solid_intervals(cast(mesh, frame_for(mesh, d, lines=lines))))


def embree_of(mesh: Mesh) -> Callable[[np.ndarray], np.ndarray]:
    """Two rays a face, from its centroid moved out by OFFSET, along +d and -d."""
    rays = RayMeshIntersector(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False))
    start = np.ascontiguousarray(mesh.centroids + OFFSET * mesh.normals)

    def ask(d: np.ndarray) -> np.ndarray:
        ways = (np.broadcast_to(way * d, start.shape) for way in (1, -1))
        return np.column_stack([rays.intersects_any(start, way) for way in ways])

    return ask


def part_a(repeats: int) -> list[dict[str, Any]]:
    rows = []
    directions = half_directions(repeats)
    for name, (sectors, rings) in SIZES.items():
        mesh = dented_vase(sectors, rings)
        row: dict[str, Any] = {"form": name, "faces": len(mesh.faces)}
        for lines in LINES:
            row[f"columns_{lines}_s"] = per_direction(columns_of(mesh, lines), directions)
        row["face_blocked_s"] = per_direction(lambda d, m=mesh: face_blocked(m, d, offset=OFFSET), directions)
        row["face_blocked_threads_s"] = per_direction(
            lambda d, m=mesh: face_blocked(m, d, offset=OFFSET, workers=THREADS), directions
        )
        row["embreex_s"] = per_direction(embree_of(mesh), directions)
        mine = face_blocked(mesh, directions[0], offset=OFFSET)
        row["faces_unlike_embreex"] = int((mine != embree_of(mesh)(directions[0])).any(axis=1).sum())
        rows.append(row)
    return rows


def by_stand_in(mesh: Mesh, directions: np.ndarray) -> tuple[int, float]:
    """Rank all on the stand-in, judge the best few on the full mesh; (direction, its gap volume)."""
    ranked = study_directions(coarse(mesh), directions, lines=128, workers=THREADS).gap_mm3
    best = np.argsort(ranked, kind="stable")[:JUDGED]
    judged = study_directions(mesh, directions[best], lines=FULL_LINES, workers=THREADS).gap_mm3
    return int(best[judged.argmin()]), float(judged.min())


def by_full_mesh(mesh: Mesh, directions: np.ndarray) -> tuple[int, float]:
    """The same without a stand-in: all ranked on the full mesh."""
    ranked = study_directions(mesh, directions, lines=128, workers=THREADS).gap_mm3
    best = np.argsort(ranked, kind="stable")[:JUDGED]
    judged = study_directions(mesh, directions[best], lines=FULL_LINES, workers=THREADS).gap_mm3
    return int(best[judged.argmin()]), float(judged.min())


SEARCHES: dict[str, Callable[[Mesh, np.ndarray], tuple[int, float]]] = {
    "stand-in, best judged on the full mesh": by_stand_in,
    "full mesh throughout": by_full_mesh,
}


def part_b(embree_directions: int) -> dict[str, Any]:
    mesh = dented_vase(*SIZES["1 million"])
    directions = half_directions(DIRECTIONS)
    for search in SEARCHES.values():
        search(mesh, directions[:6])  # compiled and read into memory
    ask = embree_of(mesh)
    ask(directions[0])
    some = directions[:: max(1, DIRECTIONS // embree_directions)]
    embree_s = timed(lambda: [ask(d) for d in some])[0] / len(some) * DIRECTIONS
    truth = study_directions(mesh, directions, lines=FULL_LINES, workers=THREADS).gap_mm3
    allowed = max(0.02 * truth.min(), 1e-4 * mesh.volume)
    rows = []
    for name, search in SEARCHES.items():
        seconds, (chosen, gap) = timed(lambda search=search: search(mesh, directions))
        excess = float(truth[chosen] - truth.min())
        rows.append(
            {
                "search": name,
                "seconds": seconds,
                "times_faster_than_embreex": embree_s / seconds,
                "gap_mm3": gap,
                "excess_mm3": excess,
                "allowed_mm3": float(allowed),
                "within": excess <= allowed,
            }
        )
    return {
        "faces": len(mesh.faces),
        "directions": DIRECTIONS,
        "best_gap_mm3": float(truth.min()),
        "worst_gap_mm3": float(truth.max()),
        "volume_mm3": mesh.volume,
        "embreex_s": embree_s,
        "embreex_directions_timed": len(some),
        "searches": rows,
    }


def machine() -> dict[str, Any]:
    packages = ("numpy", "numba", "scipy", "trimesh", "embreex")
    return {
        "machine": platform.machine(),
        "system": platform.system(),
        "python": platform.python_version(),
        "threads": THREADS,
        "load": os.getloadavg()[0],
        "versions": {name: version(name) for name in packages},
    }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--json", type=Path, default=Path("columns-bench.json"), help="where the figures go")
    parser.add_argument("--quick", action="store_true", help="fewer repeats")
    options = parser.parse_args()
    console = Console()
    about = machine()
    console.print(about)
    rows = part_a(3 if options.quick else 7)
    table = Table(*rows[0], title="(a) seconds per direction, median")
    for row in rows:
        table.add_row(*(f"{value:.4f}" if isinstance(value, float) else str(value) for value in row.values()))
    console.print(table)
    found = part_b(3 if options.quick else 12)
    table = Table(*found["searches"][0], title=f"(b) {DIRECTIONS} directions, {found['faces']} faces")
    for row in found["searches"]:
        table.add_row(*(f"{value:.2f}" if isinstance(value, float) else str(value) for value in row.values()))
    console.print(table)
    console.print({key: value for key, value in found.items() if key != "searches"})
    options.json.write_text(json.dumps({"about": about, "per_direction": rows, "search": found}, indent=1))


if __name__ == "__main__":
    main()
