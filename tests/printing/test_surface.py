"""What plaster feels of the print: stairs, beads, and where they hold it."""

from __future__ import annotations

from math import asin, cos, degrees, pi, radians, sin
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from moldprep.formulas.printing import bead_mm, cusp_mm
from moldprep.geometry.mesh import Mesh
from moldprep.job import PrinterJob
from moldprep.printing.surface import GRIPS, SMOOTH, STAIRS, UNTOUCHED, Surface, surfaces
from tests.forms import turned
from tests.parting.forms import hourglass
from tests.printing.shapes import mushroom, pieces_of


def pulled(mesh: Mesh, *pulls: tuple[float, float, float]) -> Any:
    """Pieces of which each takes the faces that look its way most."""
    way = np.argmax(mesh.normals @ np.array(pulls).T, axis=1)
    return SimpleNamespace(
        face_piece=way.astype(np.int8), pieces=[SimpleNamespace(pull=pull) for pull in pulls]
    )


def by_name(rows: tuple[Surface, ...]) -> dict[str, Surface]:
    return {row.name: row for row in rows}


@pytest.mark.parametrize(("from_level", "cusp"), [(45, 0.1414), (80, 0.0347)])
def test_stairs_of_a_leaning_face(from_level: float, cusp: float) -> None:
    """Published check values at 0.2 mm (Dolenc and Makela, Computer-Aided Design 26(2), 1994)."""
    assert cusp_mm(0.2, cos(radians(from_level))) == pytest.approx(cusp, abs=5e-5)
    assert bead_mm(0.2) == 0.1


def test_an_upright_wall_pulled_upward_grips_by_half_a_layer() -> None:
    wall = turned([(0, 0), (30, 0), (30, 100), (0, 100)])
    rows, kind = surfaces(wall, pulled(wall, (0, 0, 1), (0, 0, -1)), PrinterJob())
    grips = by_name(rows)["grips"]
    assert grips.area_mm2 == pytest.approx(2 * pi * 30 * 100, rel=1e-3)
    assert (grips.cusp_mm, grips.bead_mm, grips.draft_deg) == pytest.approx((0, 0.1, 0), abs=1e-9)
    assert set(kind[np.abs(wall.normals[:, 2]) < 0.5]) == {GRIPS}
    assert set(kind[np.abs(wall.normals[:, 2]) > 0.5]) == {SMOOTH}


def test_a_wall_pulled_along_its_beads_does_not_grip() -> None:
    """Halves leave sideways: at the seam they slide along the level beads."""
    wall = turned([(0, 0), (30, 0), (30, 100), (0, 100)])
    rows, _ = surfaces(wall, pulled(wall, (1, 0, 0), (-1, 0, 0)), PrinterJob())
    assert [row.name for row in rows] == ["as printed"]
    assert rows[0].share == pytest.approx(1)


@pytest.mark.parametrize(("draft", "grips"), [(3.0, True), (4.9, True), (5.1, False), (10.0, False)])
def test_draft_of_a_textured_wall_frees_it(draft: float, grips: bool) -> None:
    spread = 100 * np.tan(radians(draft))
    frustum = turned([(0, 0), (30 + spread, 0), (30, 100), (0, 100)], sections=512)
    rows, _ = surfaces(frustum, pulled(frustum, (0, 0, 1), (0, 0, -1)), PrinterJob(layer_mm=0.3))
    assert ("grips" in by_name(rows)) == grips
    row = by_name(rows)["grips" if grips else "as printed"]
    if grips:
        assert row.draft_deg == pytest.approx(draft, abs=1e-3)
        assert row.cusp_mm == pytest.approx(0.3 * sin(radians(draft)), rel=1e-3)
        assert row.bead_mm == pytest.approx(0.15 * cos(radians(draft)), rel=1e-3)


@pytest.mark.parametrize(("lean", "shows"), [(29.0, False), (31.0, True), (70.0, True)])
def test_stairs_show_from_30_degrees_on(lean: float, shows: bool) -> None:
    height = 60.0
    cone = turned([(0, 0), (10 + height * np.tan(radians(lean)), 0), (10, height), (0, height)], sections=512)
    rows, kind = surfaces(cone, pulled(cone, (0, 0, 1), (0, 0, -1)), PrinterJob())
    assert ("stairs" in by_name(rows)) == shows
    if shows:
        side = by_name(rows)["stairs"]
        assert side.cusp_mm == pytest.approx(0.2 * sin(radians(lean)), rel=1e-3)
        assert side.most_cusp_mm == pytest.approx(side.cusp_mm, rel=1e-6)
        assert set(kind[(cone.normals[:, 2] > 0.1) & (cone.normals[:, 2] < 0.99)]) == {STAIRS}


@pytest.mark.parametrize("form", [mushroom, hourglass])
def test_shares_are_of_all_that_plaster_meets(form) -> None:  # type: ignore[no-untyped-def]
    mesh = form()
    pieces = pieces_of(mesh)
    rows, kind = surfaces(mesh, pieces, PrinterJob())
    met = pieces.face_piece >= 0
    assert sum(row.share for row in rows) == pytest.approx(1)
    assert sum(row.area_mm2 for row in rows) == pytest.approx(mesh.areas[met].sum())
    assert (kind[~met] == UNTOUCHED).all()
    assert (kind[met] != UNTOUCHED).all()
    for row in rows:
        assert 0 <= row.cusp_mm <= row.most_cusp_mm <= 0.2 + 1e-12
        assert 0 <= row.bead_mm <= 0.1 + 1e-12
        assert row.means


def test_a_stem_that_narrows_away_from_its_pull_has_the_draft_of_its_cone() -> None:
    """The mushroom's stem, 25 to 20 over 60, pulled upward: 4.76 degrees, so it grips."""
    mesh = mushroom()
    stem = (mesh.centroids[:, 2] < 59) & (mesh.centroids[:, 2] > 1)
    rows, kind = surfaces(mesh, pulled(mesh, (0, 0, 1), (0, 0, -1)), PrinterJob())
    assert set(kind[stem]) == {GRIPS}
    assert by_name(rows)["grips"].draft_deg < degrees(asin(5 / np.hypot(5, 60))) + 1e-3
