"""From the bytes of a file to raw triangles, guarded before and after.

STL and OBJ are read here: their readers elsewhere take a lying count for an empty mesh, wrap index 0
round to the last vertex and cut concave polygons wrongly. PLY and 3MF go through trimesh, after
checks on the bytes and with checks on what comes back. Nothing here mends anything: a file either
says plainly what it holds, or is refused.
"""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass, replace
from typing import Any, Literal, cast

import mapbox_earcut
import numpy as np
from numpy.typing import NDArray

from ..errors import FileError
from ..geometry.mesh import Floats

FileType = Literal["stl", "obj", "ply", "3mf"]
FILE_TYPES: tuple[FileType, ...] = ("stl", "obj", "ply", "3mf")

MOST_TRIANGLES = 20_000_000
"""A master of 20 million triangles has facets finer than any printer prints; more is a mistake."""
MOST_UNPACKED_BYTES = 2_000_000_000
"""Size of a 3MF when unpacked: beyond this it is refused before anything is unpacked."""
MOST_ENTRIES = 1_000
MOST_RATIO = 200.0
"""XML of meshes packs about 5 to 20 times; a ratio of 200 is a bomb."""

_EXPORT_AGAIN = "Export the form again from the program that made it, as binary STL."


@dataclass(frozen=True, eq=False)
class RawMesh:
    """What the file says: (n, 3) float64 vertices in the file's numbers, (m, 3) int64 faces.

    millimetres: length of the file's unit where the file names one, else None. welded: whether the
    format shares vertices between faces (STL does not). notes: steps that reading took, with a sentence.
    """

    vertices: Floats
    faces: NDArray[np.int64]
    millimetres: float | None
    welded: bool
    notes: tuple[tuple[str, str], ...] = ()


def parse(data: bytes, file_type: FileType) -> RawMesh:
    """The triangles in the bytes of a file.

    Raises FileError, with the cure, for every file that does not plainly hold a mesh: empty,
    truncated, lying about its counts, with coordinates that are not finite, with indices out of
    range, or too large.
    """
    if not data.strip(b"\0 \r\n\t"):
        raise _refused("The file is empty.", "file-empty")
    reader = {"stl": _stl, "obj": _obj, "ply": _ply, "3mf": _3mf}.get(file_type)
    if reader is None:
        raise _refused(
            f"Files of type {file_type!r} are not read.",
            "file-type",
            f"Save as one of {', '.join(FILE_TYPES)}.",
        )
    raw = reader(data)
    _check(raw)
    return raw


def _check(raw: RawMesh) -> None:
    """Refuse what no reader should have let through."""
    if not len(raw.faces):
        raise _refused("The file holds no triangles.", "file-no-triangles")
    if len(raw.faces) > MOST_TRIANGLES:
        raise _refused(
            f"The file holds {len(raw.faces)} triangles, more than {MOST_TRIANGLES}.",
            "file-too-many-triangles",
            "Reduce the mesh; a million triangles show every layer line.",
        )
    if raw.faces.min() < 0 or raw.faces.max() >= len(raw.vertices):
        raise _refused(
            f"A face names vertex {raw.faces.max()}, but there are only {len(raw.vertices)}.", "file-index"
        )
    used = raw.vertices[raw.faces.ravel()] if not raw.welded else raw.vertices
    if not np.isfinite(used).all():
        bad = int((~np.isfinite(used)).any(axis=1).sum())
        raise _refused(f"{bad} corners have coordinates that are not numbers.", "file-not-finite")
    if np.abs(used).max() > 1e7:
        raise _refused(
            f"A coordinate of {np.abs(used).max():.3g} is beyond any form.", "file-coordinate-size"
        )


def _refused(says: str, code: str, remedy: str = _EXPORT_AGAIN) -> FileError:
    return FileError(says, code=code, remedy=remedy)


def _stl(data: bytes) -> RawMesh:
    """Binary when the count fits the length; else ASCII when it reads so; else refused."""
    count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    if count > 0 and len(data) == 84 + 50 * count:
        return _binary_stl(data, count)
    if data.lstrip()[:5].lower() == b"solid" and b"facet" in data[:4096]:
        return _ascii_stl(data)
    if len(data) < 84:
        raise _refused(
            f"An STL file has at least 84 bytes; this one has {len(data)}, or is text without facets.",
            "stl-short",
        )
    there = (len(data) - 84) // 50
    if 0 < count == there:
        stray = len(data) - 84 - 50 * count
        return replace(
            _binary_stl(data, count), notes=(("stray-bytes", f"{stray} bytes after the last triangle."),)
        )
    word = "truncated" if count > there else "damaged"
    raise _refused(f"The STL file is {word}: it says {count} triangles and holds {there}.", f"stl-{word}")


_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])


def _binary_stl(data: bytes, count: int) -> RawMesh:
    """The corners as they lie in the file; its normals are ignored, for they are often wrong."""
    if count > MOST_TRIANGLES:
        raise _refused(
            f"The file holds {count} triangles, more than {MOST_TRIANGLES}.", "file-too-many-triangles"
        )
    corners = np.frombuffer(data, _TRIANGLE, count, offset=84)["corners"]
    vertices = corners.reshape(-1, 3).astype(np.float64)
    return RawMesh(vertices, np.arange(3 * count, dtype=np.int64).reshape(-1, 3), None, welded=False)


def _ascii_stl(data: bytes) -> RawMesh:
    """Every loop's corners; loops of more than three are cut into triangles."""
    text = data.decode("ascii", errors="replace").lower()
    loops = re.split(r"\bouter\s+loop\b", text)[1:]
    if not loops:
        raise _refused("The text STL file holds no loops of vertices.", "file-no-triangles")
    counts = np.array([loop.count("vertex") for loop in loops])
    unfinished = sum("endloop" not in loop for loop in loops)
    if unfinished:
        raise _refused(f"The text STL file is truncated: {unfinished} loop(s) never end.", "stl-truncated")
    if (counts < 3).any():
        raise _refused(
            f"{(counts < 3).sum()} facet(s) of the STL file have fewer than three corners.", "stl-few-corners"
        )
    numbers = re.findall(r"\bvertex\s+(\S+)\s+(\S+)\s+(\S+)", text)
    try:
        vertices = np.array(numbers, dtype=np.float64).reshape(-1, 3)
    except ValueError as error:
        raise _refused(
            f"The STL file holds a coordinate that is no number: {error}.", "file-not-finite"
        ) from error
    if len(vertices) != counts.sum():
        raise _refused("A vertex of the STL file has fewer than three coordinates.", "stl-few-coordinates")
    start = np.concatenate([[0], np.cumsum(counts)])
    notes = []
    if (counts > 3).any():
        notes.append(
            ("cut-polygons", f"{(counts > 3).sum()} facet(s) with more than three corners were cut up.")
        )
    if "endsolid" not in text:
        notes.append(("end-missing", "The file ends without its last line; all its facets are whole."))
    faces = _cut_polygons(vertices, np.arange(len(vertices)), start)
    return RawMesh(vertices, faces, None, welded=False, notes=tuple(notes))


def _obj(data: bytes) -> RawMesh:
    """Vertices and faces; textures, normals, groups and lines are passed over."""
    vertices: list[list[str]] = []
    corners: list[int] = []
    start = [0]
    for number, line in enumerate(
        data.decode("utf-8", errors="replace").replace("\\\n", " ").splitlines(), 1
    ):
        words = line.split("#")[0].split()
        if not words:
            continue
        if words[0] == "v":
            if len(words) < 4:
                raise _refused(
                    f"Line {number}: a vertex with fewer than three coordinates.", "obj-few-coordinates"
                )
            vertices.append(words[1:4])
        elif words[0] == "f":
            corners.extend(_obj_index(word, len(vertices), number) for word in words[1:])
            if len(words) < 4:
                raise _refused(f"Line {number}: a face with fewer than three corners.", "obj-few-corners")
            start.append(len(corners))
    if not corners:
        raise _refused("The OBJ file holds no faces.", "file-no-triangles")
    try:
        points = np.array(vertices, dtype=np.float64).reshape(-1, 3)
    except ValueError as error:
        raise _refused(
            f"The OBJ file holds a coordinate that is no number: {error}.", "file-not-finite"
        ) from error
    index = np.array(corners)
    if index.max(initial=-1) >= len(points):
        raise _refused(
            f"A face names vertex {index.max() + 1}, but there are only {len(points)}.", "file-index"
        )
    return RawMesh(points, _cut_polygons(points, index, np.array(start)), None, welded=True)


def _obj_index(word: str, so_far: int, line: int) -> int:
    """Zero-based index of `i`, `i/t`, `i//n` or `i/t/n`; negative ones count back from the line."""
    try:
        index = int(word.split("/")[0])
    except ValueError:
        raise _refused(f"Line {line}: {word!r} is no vertex number.", "file-index") from None
    if index == 0 or index < -so_far:
        raise _refused(f"Line {line}: vertex number {index} does not exist; they begin at 1.", "file-index")
    return index - 1 if index > 0 else so_far + index


def _cut_polygons(vertices: Floats, index: NDArray[np.int64], start: NDArray[np.int64]) -> NDArray[np.int64]:
    """(m, 3) triangles of polygons whose corners are index[start[i]:start[i + 1]], concave ones too."""
    counts = np.diff(start)
    plain = counts == 3
    triangles = [index[start[:-1][plain][:, None] + np.arange(3)]]
    if (~plain).any() and not np.isfinite(vertices[index]).all():
        raise _refused("A polygon has a corner that is not a number.", "file-not-finite")
    for begin, count in zip(start[:-1][~plain], counts[~plain], strict=True):
        polygon = index[begin : begin + count]
        triangles.append(polygon[earcut(vertices[polygon])])
    return np.concatenate(triangles).astype(np.int64)


def earcut(polygon: Floats) -> NDArray[np.int64]:
    """(k, 3) corner numbers that triangulate an (n, 3) nearly flat polygon, wound as it is."""
    around = np.roll(polygon, -1, axis=0)
    normal = np.cross(polygon - polygon[0], around - polygon[0]).sum(axis=0)
    drop = int(np.argmax(np.abs(normal)))
    flat = np.ascontiguousarray(np.delete(polygon, drop, axis=1))
    cut = mapbox_earcut.triangulate_float64(flat, np.array([len(flat)], dtype=np.uint32))
    triangles = np.asarray(cut, dtype=np.int64).reshape(-1, 3)
    a, b, c = (flat[triangles[:, k]] for k in range(3))
    turned = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    x, y = flat[:, 0], flat[:, 1]
    area = (x * np.roll(y, -1) - np.roll(x, -1) * y).sum()
    wrong = turned * area < 0
    triangles[wrong] = triangles[wrong][:, ::-1]
    return triangles


def _ply(data: bytes) -> RawMesh:
    """Through trimesh; the header's counts are held against what came back."""
    end = data.find(b"end_header")
    if not data.startswith(b"ply") or end < 0:
        raise _refused("The file does not begin like a PLY file, or its header never ends.", "ply-header")
    declared = dict(re.findall(rb"element\s+(vertex|face)\s+(\d+)", data[:end]))
    counts = {name: int(number) for name, number in declared.items()}
    if not counts.get(b"face") or not counts.get(b"vertex"):
        raise _refused("The PLY file declares no faces; a scan of points is not a form.", "file-no-triangles")
    if max(counts.values()) > len(data):
        raise _refused(
            f"The PLY file is truncated: it says {counts[b'face']} faces in {len(data)} bytes.",
            "ply-truncated",
        )
    mesh = _through_trimesh(data, "ply")
    if len(mesh.vertices) < counts[b"vertex"] or len(mesh.faces) < counts[b"face"]:
        raise _refused(
            f"The PLY file is truncated: it says {counts[b'face']} faces and gives {len(mesh.faces)}.",
            "ply-truncated",
        )
    return RawMesh(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64), None, welded=True)


_3MF_UNITS = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}


def _3mf(data: bytes) -> RawMesh:
    """Through trimesh, when the archive's own list says that it can be unpacked safely."""
    try:
        entries = zipfile.ZipFile(io.BytesIO(data)).infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError) as error:
        raise _refused(f"The 3MF file is not a whole archive: {error}.", "3mf-archive") from error
    unpacked = sum(entry.file_size for entry in entries)
    packed = max(1, sum(entry.compress_size for entry in entries))
    if len(entries) > MOST_ENTRIES or unpacked > MOST_UNPACKED_BYTES or unpacked / packed > MOST_RATIO:
        raise _refused(
            f"The 3MF file would unpack to {unpacked / 1e6:.0f} MB in {len(entries)} parts, "
            f"{unpacked / packed:.0f} times its size; that is no honest mesh.",
            "3mf-bomb",
        )
    model = next((entry for entry in entries if entry.filename.endswith(".model")), None)
    if model is None:
        raise _refused("The 3MF archive holds no model.", "3mf-archive")
    mesh = _through_trimesh(data, "3mf")
    try:
        with zipfile.ZipFile(io.BytesIO(data)).open(model) as head:
            unit = re.search(rb"<(?:\w+:)?model\b[^>]*\bunit\s*=\s*[\"'](\w+)[\"']", head.read(65536))
    except (zipfile.BadZipFile, OSError, EOFError) as error:
        raise _refused(f"The 3MF file is damaged: {error}.", "3mf-archive") from error
    name = unit.group(1).decode() if unit else "millimeter"  # the standard's default
    if name not in _3MF_UNITS:
        raise _refused(f"The 3MF file's unit {name!r} is not one of {', '.join(_3MF_UNITS)}.", "3mf-unit")
    faces = np.array(mesh.faces, dtype=np.int64)
    return RawMesh(np.array(mesh.vertices), faces, _3MF_UNITS[name], welded=True)


def _through_trimesh(data: bytes, file_type: str) -> Any:
    """One trimesh.Trimesh, scene transforms applied; whatever its readers raise becomes a FileError."""
    import trimesh

    try:
        loaded = cast(Any, trimesh.load(io.BytesIO(data), file_type=file_type, process=False))
        mesh = loaded.to_mesh() if isinstance(loaded, trimesh.Scene) else loaded
        if not isinstance(mesh, trimesh.Trimesh):
            raise ValueError("it holds no surface")
        np.array(mesh.vertices, dtype=np.float64).reshape(-1, 3), np.array(mesh.faces).reshape(-1, 3)
    except Exception as error:
        # the readers raise whatever their parsers meet: the maker needs to know only that it is unreadable
        raise _refused(
            f"The {file_type.upper()} file cannot be read: {error}.", f"{file_type}-unreadable"
        ) from error
    return mesh
