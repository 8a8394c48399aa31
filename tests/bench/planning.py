"""The search of 300 directions and a whole plan at a million triangles, beside bare baselines in one run.

    python -m tests.bench.planning [--json FILE] [--faces N]

Baselines: per-face occlusion by trimesh and embreex for the search; for the plan, `trimesh.load`,
`is_watertight`, `volume`, and manifold3d's block minus master with the same cuts. Every measured thing
runs in a process of its own, after one warm-up on a small form (compiled code cached), and reports the
peak memory of its process.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import platform
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table


def main() -> None:
    """Measure, print a table, write JSON."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--faces", type=int, default=1_000_000)
    parser.add_argument("--json", type=Path, default=Path("bench-planning.json"))
    options = parser.parse_args()
    found: dict[str, Any] = {
        "machine": platform.processor() or platform.machine(),
        "python": platform.python_version(),
        "threads": os.cpu_count(),
        "faces": options.faces,
    }
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "form.stl"
        _apart(write_form, str(path), options.faces)
        small = Path(place) / "small.stl"
        _apart(write_form, str(small), 20_000)
        _apart(plan_once, str(small))
        found["search"] = _apart(search, str(path))
        found["search by embreex"] = _apart(search_by_rays, str(path), found["search"]["axes"])
        found["plan"] = _apart(plan_once, str(path))
        found["bare"] = _apart(bare, str(path), found["plan"]["cuts"])
    del found["search"]["axes"]
    table = Table(
        "what", "seconds", "peak MB", "beside", title=f"{found['faces']} faces, {found['threads']} threads"
    )
    rays = found["search by embreex"]["seconds"]
    table.add_row(
        "300 directions, stand-in and refinement",
        f"{found['search']['seconds']:.2f}",
        f"{found['search']['peak_mb']:.0f}",
        f"{rays / found['search']['seconds']:.1f} times faster",
    )
    table.add_row(
        "the same by trimesh + embreex",
        f"{rays:.1f}",
        f"{found['search by embreex']['peak_mb']:.0f}",
        "from 10 of the 300",
    )
    table.add_row(
        "plan",
        f"{found['plan']['seconds']:.2f}",
        f"{found['plan']['peak_mb']:.0f}",
        f"{found['plan']['seconds'] / found['bare']['seconds']:.2f} times, memory {found['plan']['peak_mb'] / found['bare']['peak_mb']:.2f} times",
    )
    table.add_row(
        "bare load, checks and booleans",
        f"{found['bare']['seconds']:.2f}",
        f"{found['bare']['peak_mb']:.0f}",
        "",
    )
    cut, proof = (found["plan"]["stages"][name] for name in ("cut the pieces", "prove that it opens"))
    table.add_row("pieces", f"{cut:.2f}", "", f"{cut / found['bare']['booleans']:.2f} times")
    table.add_row(
        "pieces and release proof",
        f"{cut + proof:.2f}",
        "",
        f"{(cut + proof) / found['bare']['booleans']:.2f} times",
    )
    table.add_row("the same block, master and cuts by manifold3d", f"{found['bare']['booleans']:.2f}", "", "")
    Console().print(table)
    Console().print({stage: round(seconds, 2) for stage, seconds in found["plan"]["stages"].items()})
    Console().print(
        f"gap volume found {found['search']['found']:.1f} mm3, best of the 300 at full resolution {found['search']['best']:.1f} mm3"
    )
    options.json.write_text(json.dumps(found, indent=2) + "\n")


def _apart(work: Callable[..., Any], *args: Any) -> Any:
    """The result of `work` in a fresh process."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(work, args)


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def write_form(path: str, faces: int) -> None:
    """A mug, body and handle, of about so many faces, as binary STL."""
    from moldprep.geometry.mesh import Mesh
    from moldprep.sheet.meshes import stl_bytes
    from sample_meshes.make import mug

    side = int(np.sqrt(faces / 895_160) * 1200) // 4 * 4
    vertices, triangles = mug(segments=max(side, 64), rings=max(int(side * 0.35), 24))
    Path(path).write_bytes(stl_bytes(Mesh(vertices, triangles), "bench"))


def search(path: str) -> dict[str, Any]:
    """The pull search, and the 300 judged one by one on the full mesh for the answer's quality."""
    from moldprep.files.read import read_master
    from moldprep.geometry.coarse import coarse
    from moldprep.geometry.columns.directions import study_directions
    from moldprep.geometry.directions import candidate_axes
    from moldprep.job import FormJob, PullJob
    from moldprep.pull import CANDIDATES, STUDY_LINES, search_axes

    mesh = read_master(Path(path), FormJob()).mesh
    search_axes(mesh, PullJob())
    fresh = read_master(Path(path), FormJob()).mesh
    begin = time.perf_counter()
    rows = search_axes(fresh, PullJob())
    seconds = time.perf_counter() - begin
    peak = _peak_mb()
    axes, _ = candidate_axes(coarse(mesh), count=CANDIDATES, first=[(0, 0, 1)])
    every = study_directions(mesh, axes, lines=STUDY_LINES, workers=2)
    return {
        "seconds": seconds,
        "peak_mb": peak,
        "found": min(row.gap_mm3 for row in rows),
        "best": float(every.gap_mm3.min()),
        "form_mm3": mesh.volume,
        "axes": axes.tolist(),
    }


def search_by_rays(path: str, axes: list[list[float]]) -> dict[str, float]:
    """Per-face occlusion along every thirtieth axis and against it, times thirty."""
    import trimesh

    mesh = trimesh.load(path)
    assert isinstance(mesh, trimesh.Trimesh)
    starts = mesh.triangles_center + 1e-3 * mesh.face_normals
    mesh.ray.intersects_any(starts[:10], np.tile(axes[0], (10, 1)))  # builds the tree
    tried = np.array(axes)[::30]
    begin = time.perf_counter()
    for axis in tried:
        side = np.where((mesh.face_normals @ axis >= 0)[:, None], axis, -axis)
        mesh.ray.intersects_any(starts, side)
    seconds = (time.perf_counter() - begin) * len(axes) / len(tried)
    return {"seconds": seconds, "peak_mb": _peak_mb()}


def plan_once(path: str) -> dict[str, Any]:
    """Everything that `moldprep plan` does but writing the folder, stage by stage."""
    from moldprep.files.read import read_master
    from moldprep.job import Job
    from moldprep.planning import plan
    from moldprep.sheet.bundle import plan_files
    from moldprep.working import Watch

    class Clock(Watch):
        def __init__(self) -> None:
            self.began: list[tuple[str, float]] = []

        def stage(self, name: str) -> None:
            self.began.append((name, time.perf_counter()))

    clock = Clock()
    clock.stage("read the form")
    made = plan(read_master(Path(path), Job().form), Job(), watch=clock)
    clock.stage("set the sheet and write the meshes")
    plan_files(made)
    clock.stage("end")
    times = clock.began
    block = made.block
    return {
        "seconds": times[-1][1] - times[0][1],
        "peak_mb": _peak_mb(),
        "stages": {name: times[k + 1][1] - begin for k, (name, begin) in enumerate(times[:-1])},
        "family": made.parting.chosen.family,
        "cuts": {
            "outline": block.outline.tolist(),
            "bottom": block.bottom_mm,
            "top": block.top_mm,
            "azimuths": [layer.azimuth_deg for layer in made.parting.chosen.layers if layer.kind == "split"],
            "planes": list(made.parting.chosen.planes_mm),
        },
    }


def bare(path: str, cuts: dict[str, Any]) -> dict[str, float]:
    """trimesh.load, is_watertight, volume; manifold3d's block minus master and the same cuts."""
    import manifold3d
    import trimesh

    begin = time.perf_counter()
    mesh = trimesh.load(path)
    assert isinstance(mesh, trimesh.Trimesh)
    assert mesh.is_watertight and mesh.volume > 0
    vertices = np.array(mesh.vertices)
    vertices -= [*(mesh.bounds[0] + mesh.bounds[1])[:2] / 2, mesh.bounds[0][2]]
    read = time.perf_counter()
    master = manifold3d.Manifold(manifold3d.Mesh64(vertices, np.array(mesh.faces, np.uint64)))
    section = manifold3d.CrossSection([np.array(cuts["outline"])])
    body = section.extrude(cuts["top"] - cuts["bottom"]).translate((0, 0, cuts["bottom"])) - master
    pieces = [body]
    for height in cuts["planes"]:
        pieces = [part for piece in pieces for part in piece.split_by_plane((0, 0, 1), height)]
    for azimuth in np.radians(cuts["azimuths"]):
        pieces = [
            part
            for piece in pieces
            for part in piece.split_by_plane((np.cos(azimuth), np.sin(azimuth), 0), 0)
        ]
    assert sum(piece.volume() for piece in pieces) > 0
    end = time.perf_counter()
    return {"seconds": end - begin, "booleans": end - read, "peak_mb": _peak_mb()}


if __name__ == "__main__":
    main()
