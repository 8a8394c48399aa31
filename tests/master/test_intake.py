"""Files good and broken: what is read, what is mended and by which step, what is refused and why."""

from __future__ import annotations

import importlib
import io
import struct
import zipfile

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from moldprep.errors import FileError, FormError, RequestError
from moldprep.geometry.solids import to_manifold
from moldprep.job import FormJob
from moldprep.master import FileType, Master, master_from_bytes, safe_name
from tests import npm_meshes

parsing = importlib.import_module("moldprep.master.parse")
MM = FormJob()
BOX = trimesh.creation.box((40, 30, 20))
VOLUME = 40 * 30 * 20


def read(data: bytes, file_type: FileType = "stl", form: FormJob = MM) -> Master:
    return master_from_bytes(data, file_type=file_type, name="form", form=form)


def exported(mesh: trimesh.Trimesh, file_type: str) -> bytes:
    data = mesh.export(file_type=file_type)
    return data.encode() if isinstance(data, str) else data


def stl(triangles: np.ndarray, count: int | None = None) -> bytes:
    rows = np.zeros(len(triangles), np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")]))
    rows["v"] = triangles
    return b"\0" * 80 + struct.pack("<I", len(triangles) if count is None else count) + rows.tobytes()


# ---------------------------------------------------------------- good files


@pytest.mark.parametrize("file_type", ["stl", "stl_ascii", "obj", "ply", "3mf"])
def test_every_format_gives_the_same_closed_solid(file_type: str) -> None:
    kind = "stl" if file_type.startswith("stl") else file_type
    master = read(exported(BOX, file_type), kind)
    assert master.mesh.volume == pytest.approx(VOLUME, rel=1e-6)  # float32 in the file
    assert to_manifold(master.mesh).volume() == pytest.approx(VOLUME, rel=1e-6)
    assert len(master.mesh.vertices) == 8 and master.steps == () and master.findings == ()


def test_units_scale_and_an_odd_size_is_said_in_the_other_units() -> None:
    inches = read(stl(BOX.triangles / 25.4), form=FormJob(units="inch"))
    assert inches.mesh.extents == pytest.approx([40, 30, 20], rel=1e-6)
    (finding,) = read(stl(BOX.triangles / 25.4)).findings
    assert finding.code == "size-implausible" and "in inch 40 mm" in finding.says
    assert "in cm 15.75 mm" in finding.says and "--units" in finding.remedy


@pytest.mark.parametrize("up", ["x", "y", "z", "-x", "-y", "-z"])
def test_the_axis_named_up_ends_up(up: str) -> None:
    """A cone whose tip points along the named axis has its tip on top, and stays outward."""
    along = {"x": [1, 0, 0], "y": [0, 1, 0], "z": [0, 0, 1]}[up[-1]]
    cone = trimesh.creation.cone(20, 50)
    direction = np.array(along) * (-1 if up[0] == "-" else 1)
    cone.apply_transform(trimesh.geometry.align_vectors([0, 0, 1], direction))
    mesh = read(stl(cone.triangles), form=FormJob(up=up)).mesh
    tip = mesh.vertices[np.argmax(mesh.vertices[:, 2])]
    assert np.hypot(*tip[:2]) == pytest.approx(0, abs=1e-4)
    assert mesh.volume == pytest.approx(cone.volume, rel=1e-5)


def test_a_3mf_names_its_own_unit_and_its_transforms_count() -> None:
    data = exported(BOX, "3mf")
    archive = zipfile.ZipFile(io.BytesIO(data))
    changed = io.BytesIO()
    with zipfile.ZipFile(changed, "w", zipfile.ZIP_DEFLATED) as out:
        for entry in archive.namelist():
            out.writestr(entry, archive.read(entry).replace(b'unit="millimeter"', b'unit="inch"'))
    assert read(changed.getvalue(), "3mf").mesh.extents == pytest.approx([1016, 762, 508])


def test_a_concave_polygon_is_cut_inside_its_outline() -> None:
    """An L-shaped prism whose caps are single concave polygons: volume by its two rectangles."""
    outline = [(0, 0), (40, 0), (40, 10), (10, 10), (10, 40), (0, 40)]
    lines = [f"v {x} {y} {z}" for z in (0, 20) for x, y in outline]
    lines += ["f 6 5 4 3 2 1", "f 7 8 9 10 11 12"]
    lines += [f"f {i + 1} {(i + 1) % 6 + 1} {(i + 1) % 6 + 7} {i + 7}" for i in range(6)]
    master = read("\n".join(lines).encode(), "obj")
    assert master.mesh.volume == pytest.approx((40 * 10 + 10 * 30) * 20)


def test_negative_obj_numbers_count_back() -> None:
    lines = exported(BOX, "obj").decode().splitlines()
    back = [
        "f " + " ".join(str(int(word.split("/")[0]) - 9) for word in line.split()[1:])
        if line[:2] == "f "
        else line
        for line in lines
    ]
    assert read("\n".join(back).encode(), "obj").mesh.volume == pytest.approx(VOLUME)


def test_bunny_stands_up_at_120_mm() -> None:
    master = read(npm_meshes.bunny(), "obj", FormJob(up="y", size_mm=120))
    assert master.mesh.extents.max() == pytest.approx(120)
    assert len(master.mesh.faces) > 3_000 and to_manifold(master.mesh).volume() == pytest.approx(
        master.mesh.volume
    )


# ---------------------------------------------------------------- the repair ladder


def without(mesh: trimesh.Trimesh, *faces: int) -> np.ndarray:
    return np.delete(mesh.triangles, faces, axis=0)


def test_a_turned_over_triangle_is_wound_alike_and_an_inverted_form_is_turned() -> None:
    triangles = BOX.triangles.copy()
    triangles[3] = triangles[3][::-1]
    assert read(stl(triangles)).steps == ("wind-alike",)
    inverted = read(stl(BOX.triangles[:, ::-1]))
    assert inverted.steps == ("turn-outward",) and inverted.mesh.volume == pytest.approx(VOLUME)


def test_degenerate_and_doubled_triangles_are_dropped() -> None:
    extra = np.concatenate([BOX.triangles, BOX.triangles[:2], BOX.triangles[:1, [0, 0, 1]]])
    master = read(stl(extra))
    assert master.steps == ("drop-degenerate", "drop-duplicates")
    assert len(master.mesh.faces) == 12


def test_corners_that_nearly_meet_are_joined() -> None:
    noise = np.random.default_rng(1).uniform(-1e-5, 1e-5, BOX.triangles.shape)
    master = read(stl(BOX.triangles + noise))
    assert master.steps == ("join-near",) and len(master.mesh.vertices) == 8


def test_a_crack_is_closed_unasked_and_says_where() -> None:
    ball = trimesh.creation.icosphere(subdivisions=5, radius=50)
    master = read(stl(without(ball, 100)))
    assert master.steps == ("close-cracks",)
    (finding,) = master.findings
    assert np.allclose(finding.where, [ball.triangles_center[100]], atol=1e-3)


def test_an_opening_is_refused_with_its_place_and_closed_flat_with_consent() -> None:
    top = np.flatnonzero(BOX.face_normals[:, 2] > 0.5)
    with pytest.raises(FormError) as caught:
        read(stl(without(BOX, *top)))
    assert caught.value.code == "form-open" and "--close-openings" in caught.value.remedy
    assert np.allclose(caught.value.where, [[0, 0, 10]])
    assert "1 opening, the widest 40 across" in str(caught.value)
    master = read(stl(without(BOX, *top)), form=FormJob(close_openings=True))
    assert master.steps == ("close-openings",) and master.mesh.volume == pytest.approx(VOLUME, rel=1e-6)
    assert "closed flat" in master.findings[0].says


def test_overlapping_bodies_are_united_and_specks_dropped() -> None:
    other = trimesh.creation.box(
        (10, 10, 60), transform=trimesh.transformations.translation_matrix([3, 2, 0])
    )
    speck = trimesh.creation.icosphere(radius=0.3).apply_translation([60, 0, 0])
    master = read(stl(np.concatenate([BOX.triangles, other.triangles, speck.triangles])))
    assert master.steps == ("drop-specks", "unite")
    assert master.mesh.volume == pytest.approx(VOLUME + 10 * 10 * 40, rel=1e-5)


def box_at(x: float, size: float = 20) -> np.ndarray:
    return trimesh.creation.box((size,) * 3).apply_translation([x, 0, 0]).triangles


REFUSED = {
    "file-empty": ("stl", b""),
    "file-type": ("step", b"x"),
    "stl-short": ("stl", b"hello"),
    "stl-truncated": ("stl", exported(BOX, "stl")[:-60]),
    "stl-damaged": ("stl", stl(BOX.triangles, 3)),
    "stl-few-corners": (
        "stl",
        b"solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nendloop\nendfacet\n",
    ),
    "stl-few-coordinates": (
        "stl",
        b"solid x\nfacet\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 1\nendloop\n",
    ),
    "file-not-finite": ("stl", stl(np.where(np.arange(9).reshape(1, 3, 3) == 4, np.nan, 1.0))),
    "file-coordinate-size": ("stl", stl(BOX.triangles * 1e30)),
    "file-index": ("obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n"),
    "obj-few-corners": ("obj", b"v 0 0 0\nv 1 0 0\nf 1 2\n"),
    "obj-few-coordinates": ("obj", b"v 0 0\n"),
    "file-no-triangles": ("obj", b"v 0 0 0\nv 1 0 0\n"),
    "ply-header": ("ply", b"plyx"),
    "ply-unreadable": ("ply", exported(BOX, "ply")[:-20]),
    "ply-truncated": ("ply", exported(BOX, "ply").replace(b"element face 12", b"element face 99999")),
    "3mf-archive": ("3mf", b"PK\x03\x04 not an archive"),
    "form-flat": ("stl", stl(BOX.triangles[:1] * [1, 1, 0])),
    "form-bodies": ("stl", stl(np.concatenate([box_at(0), box_at(50)]))),
    "form-cavity": ("stl", stl(np.concatenate([box_at(0), box_at(0, 10)[:, ::-1]]))),
    "form-open": ("stl", stl(without(BOX, 0))),
    # a fin on a box: one edge with three faces
    "form-edges": (
        "stl",
        stl(np.concatenate([BOX.triangles, BOX.triangles[:1] * [[[1, 1, 1], [1, 1, 1], [3, 3, 3]]]])),
    ),
}


@pytest.mark.parametrize("code", REFUSED)
def test_each_refusal_names_its_code_and_a_cure(code: str) -> None:
    file_type, data = REFUSED[code]
    with pytest.raises(RequestError) as caught:
        read(data, file_type)
    assert caught.value.code == code
    assert caught.value.remedy and str(caught.value).endswith(caught.value.remedy)
    assert "\n" not in str(caught.value)


def test_an_obj_index_out_of_range_is_not_wrapped_round() -> None:
    with pytest.raises(FileError, match="vertex 9, but there are only 3"):
        read(b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "obj")


def test_a_zip_bomb_is_refused_before_it_is_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("3D/3dmodel.model", b" " * 50_000_000)
    monkeypatch.setattr(parsing, "_through_trimesh", lambda *_: pytest.fail("it was unpacked"))
    with pytest.raises(FileError, match="times its size") as caught:
        read(packed.getvalue(), "3mf")
    assert caught.value.code == "3mf-bomb"


def test_too_many_triangles_are_refused_before_they_are_copied(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parsing, "MOST_TRIANGLES", 11)
    monkeypatch.setattr(parsing.np, "frombuffer", lambda *_: pytest.fail("it was copied"))
    with pytest.raises(FileError, match="12 triangles, more than 11") as caught:
        read(stl(BOX.triangles))
    assert caught.value.code == "file-too-many-triangles"


BROKEN = {
    "wrongHeader.bin.stl": ("read", ()),  # begins with "solid" but is binary, and says its length rightly
    "notANumberNormal.ascii.stl": ("read", ()),  # normals are never used
    "wrongNormal.ascii.stl": ("read", ()),
    "wrongNormals.ascii.stl": ("read", ()),
    "missingNormal.ascii.stl": ("read", ()),
    "solidNameMismatch.ascii.stl": ("read", ()),
    "missingEndsolid.ascii.stl": ("mended", ("end-missing",)),
    "fourVertices.ascii.stl": ("mended", ("cut-polygons",)),
    "quad.ascii.stl": ("mended", ("cut-polygons", "split-edges")),
    "singleFace.ascii.stl": ("refused", "form-flat"),
    "missingFace.ascii.stl": ("refused", "form-open"),
    "twoVertices.ascii.stl": ("refused", "stl-few-corners"),
    "incorrectFaceCounter.bin.stl": ("refused", "stl-truncated"),
    "empty.stl": ("refused", "file-empty"),
}
"""The fourteen broken STL files of the npm package stl-models: what becomes of each."""


@pytest.mark.parametrize("file", BROKEN)
def test_the_broken_files_of_stl_models(file: str) -> None:
    data = (npm_meshes.broken() / file).read_bytes()
    fate, what = BROKEN[file]
    form = FormJob(size_mm=50)
    if fate == "refused":
        with pytest.raises(RequestError) as caught:
            read(data, form=form)
        assert caught.value.code == what and caught.value.remedy
        return
    master = read(data, form=form)
    assert master.steps == what
    assert len(master.mesh.faces) >= 4 and master.mesh.volume > 0
    to_manifold(master.mesh)


def test_the_table_of_broken_files_is_whole() -> None:
    assert sorted(path.name for path in npm_meshes.broken().iterdir()) == sorted(BROKEN)


def test_the_teapot_is_refused_naming_its_openings() -> None:
    with pytest.raises(FormError) as caught:
        read(npm_meshes.teapot(), "obj", FormJob(up="y", size_mm=150))
    assert caught.value.code in ("form-open", "form-edges")
    assert caught.value.where


# ---------------------------------------------------------------- whatever comes


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    kind=st.sampled_from(["stl", "stl_ascii", "obj", "ply", "3mf"]),
    keep=st.floats(0.1, 1),
    changes=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), max_size=4),
)
def test_mutated_files_are_read_or_refused_but_never_crash(
    kind: str, keep: float, changes: list[tuple[float, int]]
) -> None:
    data = bytearray(exported(BOX, kind))
    for at, value in changes:
        data[int(at * len(data))] = value
    try:
        master = read(bytes(data[: int(keep * len(data))]), "stl" if kind.startswith("stl") else kind)
    except RequestError as error:
        assert error.remedy and error.code
    else:
        assert master.mesh.volume > 0


def test_names_are_safe_for_files() -> None:
    assert safe_name("../../etc/Große Vase 3.stl") == "Große-Vase-3"
    assert safe_name("..\\a:b*.obj") == "a-b"
    assert safe_name(".stl") == "form"
