"""A page with nothing but the 3D view, for `test_scene`: a grooved cylinder whose groove is locked.

Run as `python -m tests.faces.page.scene_page PORT`.
"""

from __future__ import annotations

import json
import sys

import numpy as np
import trimesh
from fastapi import Response
from nicegui import app, ui

from moldprep.faces.page.scene import FormScene
from moldprep.pull import FREE, LOCKED, TIGHT
from moldprep.sheet.views import class_view, part_view
from tests.forms import from_trimesh, grooved

FORM = grooved(sections=96)
BOUNDS = ((-40.0, -40.0, 0.0), (40.0, 40.0, 80.0))
PLACES = [(1, (0.0, -36.0, 35.0)), (2, (36.0, 0.0, 35.0))]
HEIGHTS, MOST = [50.0, 60.0], 80.0
HALF = from_trimesh(trimesh.creation.box((100, 50, 80)))


@app.get("/form.glb")
def form() -> Response:
    z = FORM.centroids[:, 2]
    kinds = np.where((z > 29.9) & (z < 40.1), LOCKED, np.where((z > 0.1) & (z < 29), TIGHT, FREE))
    return Response(class_view(FORM, kinds.astype(np.uint8)), media_type="model/gltf-binary")


@app.get("/half.glb")
def half() -> Response:
    return Response(part_view(HALF, "half", "#b9c8bd"), media_type="model/gltf-binary")


@ui.page("/")
def page() -> None:
    said: list[tuple[int, float, bool]] = []

    def on_seam(number: int, height: float, done: bool) -> None:
        said.append((number, height, done))
        heard.text = json.dumps(said)

    def on_mark(number: int) -> None:
        marked.text = str(number)

    scene = FormScene(on_seam=on_seam, on_mark=on_mark)
    heard = ui.label("[]").props("id=heard")
    marked = ui.label().props("id=marked")
    scene.show_classes("/form.glb", BOUNDS, PLACES)
    scene.planes(HEIGHTS, most=MOST)
    ways = ((0.0, -60.0, 0.0), (0.0, 60.0, 0.0))
    halves = [(letter, "half", "#b9c8bd", way, "/half.glb") for letter, way in zip("AB", ways, strict=True)]
    for label, act in {
        "fly": lambda: scene.fly_to(PLACES[1][1]),
        "whole": scene.whole,
        "lower": lambda: scene.move_plane(0, 10.0),
        "parts": lambda: scene.show_parts(halves, BOUNDS),
        "apart": lambda: scene.apart(0.5),
        "clear": lambda: scene.see_through(1.0),
        "classes": lambda: scene.show_classes("/form.glb", BOUNDS, PLACES),
    }.items():
        ui.button(label, on_click=act)


if __name__ == "__main__":
    ui.run(host="127.0.0.1", port=int(sys.argv[1]), show=False, reload=False)
