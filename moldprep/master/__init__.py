"""Stage 1: the master, a closed solid in millimetres, from the bytes of a file."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, replace

import numpy as np

from ..findings import Finding
from ..geometry.mesh import Floats, Mesh
from ..job import Axis, FormJob, Unit
from ..working import SILENT, Watch
from .hollow import filled_hollow, together
from .parse import FILE_TYPES, FileType, parse
from .repair import repaired

__all__ = ["FILE_TYPES", "FileType", "Master", "master_from_bytes"]

MILLIMETRES: dict[Unit, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}
LEAST_SIZE_MM, MOST_SIZE_MM = 15.0, 600.0
"""A studio piece is hardly smaller than a bead, or larger than what two people turn over full of slip."""

_TURNS: dict[Axis, Floats] = {
    "z": np.eye(3),
    "-z": np.diag([1.0, -1.0, -1.0]),
    "y": np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]),
    "-y": np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]),
    "x": np.array([[0.0, 0, -1], [0, 1, 0], [1, 0, 0]]),
    "-x": np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]]),
}
"""Rotations that bring the named axis to +z."""


@dataclass(frozen=True, eq=False)
class Master:
    """The form as the file has it, ready to work with.

    mesh: closed, outward, welded, in mm, z up. units: what the file's numbers were taken for.
    source_digest: SHA-256 of the file's bytes. steps: the repair steps done, in order. inside: what was
    taken away when a hollow form was filled, the modelled inside as drawn, in the mesh's mm and axes: an
    open surface whose normals look into the hollow, to compare with the drained cast; None when the form
    was solid.
    """

    name: str
    mesh: Mesh
    findings: tuple[Finding, ...]
    units: str
    source_digest: str
    steps: tuple[str, ...]
    inside: Mesh | None = None


def master_from_bytes(
    data: bytes, *, file_type: FileType, name: str, form: FormJob, watch: Watch = SILENT
) -> Master:
    """Read, check, and where needed mend, the form in the bytes of a file.

    A form with its inside modelled is filled when the job allows it, and otherwise left as it is for the
    stand to refuse. Raises FileError when the bytes are no mesh, FormError when the mesh cannot be made
    one closed solid; both say where (in the file's own numbers and axes) and what to do.
    """
    watch.step(0, 4)
    raw = parse(data, file_type)
    watch.step(1, 4)
    mesh, findings, steps, cavities = repaired(
        raw, close_openings=form.close_openings, fill_hollow=form.fill_hollow
    )
    watch.step(2, 4)
    scale, units, said = _scale(mesh, form, raw.millimetres)
    turn = np.eye(4)
    turn[:3, :3] = scale * _TURNS[form.up]
    if not np.array_equal(turn, np.eye(4)):
        mesh = mesh.transformed(turn)
        findings = tuple(_moved(finding, turn[:3, :3]) for finding in findings)
        cavities = tuple(cavity.transformed(turn) for cavity in cavities)
    insides = list(cavities)
    watch.step(3, 4)
    filled = filled_hollow(mesh) if form.fill_hollow else None
    if filled is not None:
        mesh, findings, steps = filled.mesh, findings + filled.findings, (*steps, "fill-hollow")
        insides.append(filled.inside)
    return Master(
        name=form.name or safe_name(name),
        mesh=mesh,
        findings=findings + said,
        units=units,
        source_digest=hashlib.sha256(data).hexdigest(),
        steps=steps,
        inside=together(insides) if insides else None,
    )


def safe_name(name: str) -> str:
    """A name that is good in a file name and on a sheet: the stem, letters, digits and hyphens."""
    stem = re.sub(r"\.[A-Za-z0-9]{1,4}$", "", name.replace("\\", "/").rsplit("/", 1)[-1])
    return re.sub(r"[^\w]+", "-", stem).strip("-_")[:60] or "form"


def _moved(finding: Finding, turn: Floats) -> Finding:
    """The finding with its places in the master's mm and axes."""
    places = np.array(finding.where).reshape(-1, 3) @ turn.T
    return replace(finding, where=tuple((float(x), float(y), float(z)) for x, y, z in places))


def _scale(mesh: Mesh, form: FormJob, own: float | None) -> tuple[float, str, tuple[Finding, ...]]:
    """mm for one of the file's numbers, the unit's name, and a Finding when the size is implausible."""
    largest = float(mesh.extents.max())
    if form.size_mm is not None:
        return form.size_mm / largest, f"scaled to {form.size_mm:g} mm", ()
    if form.units is None and own is not None:
        scale, units = own, f"{own:g} mm, as the file says"
    else:
        units = form.units or "mm"
        scale = MILLIMETRES[form.units or "mm"]
    size = largest * scale
    if LEAST_SIZE_MM <= size <= MOST_SIZE_MM:
        return scale, units, ()
    others = ", ".join(
        f"in {unit} {largest * length:.4g} mm" for unit, length in MILLIMETRES.items() if length != scale
    )
    finding = Finding(
        "warn",
        "size-implausible",
        f"The form's largest side is {size:.4g} mm, which is odd for a studio piece; {others}.",
        remedy="Say the file's unit with --units, or its size with --size.",
    )
    return scale, units, (finding,)
