"""Stage 8: proof that the mold opens, on its solids: each piece in its order, past what is still there.

Two witnesses that share nothing but the meshes: columns along each pull, at another pitch than the
search for the parting and shifted off its grid, and copies of the pieces slid along their pulls and
cut with everything that is left. A piece is released when what it strikes is no wider across its
pull than the tolerance; overlap along the pull and in volume inform.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace

import numpy as np

from .errors import Point, at
from .findings import Finding
from .geometry.mesh import Mesh
from .geometry.solids import split, to_manifold
from .geometry.sweep import Overlap, Slid, slid_overlaps, swept_overlaps
from .parting import Parting
from .pieces import Piece, Pieces, leaves
from .stand import Stand
from .working import SILENT, Watch

LINES = 251
"""Columns across a piece: not the pitch of any search."""
GRAIN_MM3 = 0.5
"""Less plaster than this in one place breaks off unnoticed, like a facet's corner that misses the seam
plane; it is counted in the volumes, not in the verdict (our judgement)."""
MISSING_SHARE = 1e-4
"""More of the block than this in no piece, and a piece is missing or in the way of another: cutting it
errs by less than a hundredth of that."""
MASTER = "master"


@dataclass(frozen=True)
class PieceRelease:
    """One piece taken off in its turn. lateral_mm, along_mm, overlap_mm3: the worst over the obstacles still
    there; blocked_by: the obstacle with the widest hold ("" where none is wider than the tolerance);
    slid: overlaps of the slid copies; released: both witnesses are content.
    """

    letter: str
    name: str
    pull: Point
    lateral_mm: float
    along_mm: float
    overlap_mm3: float
    where: Point | None
    pitch_mm: float
    blocked_by: str
    slid: tuple[Slid, ...]
    released: bool


@dataclass(frozen=True)
class Release:
    """blocking: for each piece (row), how wide each piece and last the master hold it, all in place, mm.

    order: letters in the order proved; the master stays behind in nothing: it leaves the last piece,
    which is that piece's own row. missing_mm3: of the block that neither pieces nor form nor easing account
    for; negative where it is counted twice. whole: whether that is none, to rounding.
    """

    order: tuple[str, ...]
    blocking: tuple[tuple[float, ...], ...]
    proofs: tuple[PieceRelease, ...]
    tolerance_mm: float
    findings: tuple[Finding, ...] = ()
    missing_mm3: float = 0.0
    whole: bool = True

    @property
    def opens(self) -> bool:
        """Whether no piece is missing and every piece is released."""
        return self.whole and all(proof.released for proof in self.proofs)


def prove_release(
    stand: Stand, pieces: Pieces, parting: Parting, *, tolerance_mm: float, watch: Watch = SILENT
) -> Release:
    """Whether the pieces come off in their order, and the master out of the last one.

    A mold that does not open is a `stop` finding that names piece, direction, place and depth. So is one
    whose pieces do not fill the block round the form.
    """
    proved = release_in_order(stand.mesh, pieces.pieces, parting, tolerance_mm=tolerance_mm, watch=watch)
    form = _volume_below(stand.mesh, stand.top_mm)
    filled = sum(piece.mesh.volume for piece in pieces.pieces) + pieces.removed_mm3 + form
    missing = pieces.block_volume_mm3 - filled
    whole = abs(missing) <= MISSING_SHARE * pieces.block_volume_mm3
    findings = proved.findings if whole else (_incomplete(missing), *proved.findings)
    return replace(proved, missing_mm3=missing, whole=whole, findings=findings)


def release_in_order(
    form: Mesh, pieces: tuple[Piece, ...], parting: Parting, *, tolerance_mm: float, watch: Watch = SILENT
) -> Release:
    """`prove_release` for pieces in any order, whatever their shapes; whether any is missing is not asked."""
    meshes = [*(piece.mesh for piece in pieces), form]
    names = [*(piece.letter for piece in pieces), MASTER]
    solids = [to_manifold(mesh) for mesh in meshes]
    low = np.min([mesh.bounds[0] for mesh in meshes], axis=0)
    high = np.max([mesh.bounds[1] for mesh in meshes], axis=0)
    size = float(np.linalg.norm(high - low))
    blocking, proofs = [], []
    for k, piece in enumerate(pieces):
        watch.step(k, len(pieces))
        others = [j for j in range(len(meshes)) if j != k]
        held = dict(
            zip(
                others,
                swept_overlaps(
                    piece.mesh,
                    piece.pull,
                    [meshes[j] for j in others],
                    tolerance=tolerance_mm,
                    grain=GRAIN_MM3,
                    lines=LINES,
                    shift=_shift(piece),
                ),
                strict=True,
            )
        )
        blocking.append(tuple(held[j].lateral_mm if j in held else 0.0 for j in range(len(meshes))))
        there = [j for j in others if j > k]
        slid = tuple(
            slid_overlaps(
                solids[k],
                piece.pull,
                [solids[j] for j in there],
                first=tolerance_mm,
                last=size,
                grain=GRAIN_MM3,
            )
        )
        proofs.append(_proof(piece, {names[j]: held[j] for j in there}, slid, tolerance_mm))
    findings = tuple(_stuck(proof, parting, tolerance_mm) for proof in proofs if not proof.released)
    order = tuple(piece.letter for piece in pieces)
    return Release(order, tuple(blocking), tuple(proofs), tolerance_mm, findings[:1] if findings else ())


def _volume_below(mesh: Mesh, height: float) -> float:
    """Volume of a solid up to a height: an uneven rim without a spare stands out of the block."""
    if mesh.bounds[1, 2] <= height + 1e-9:
        return mesh.volume
    return float(split(to_manifold(mesh), (0.0, 0.0, 1.0), height)[1].volume())


def _proof(piece: Piece, held: dict[str, Overlap], slid: tuple[Slid, ...], tolerance: float) -> PieceRelease:
    worst = max(held, key=lambda name: held[name].lateral_mm)
    overlap = held[worst]
    grid = overlap.lateral_mm <= tolerance
    copy = max(slid, key=lambda one: one.lateral_mm)
    copies = copy.lateral_mm <= tolerance
    where = overlap.where
    if grid and not copies and copy.widest is not None:  # too small for the columns
        worst, where = list(held)[copy.widest], copy.where
    return PieceRelease(
        letter=piece.letter,
        name=piece.name,
        pull=piece.pull,
        lateral_mm=overlap.lateral_mm,
        along_mm=max(one.along_mm for one in held.values()),
        overlap_mm3=sum(one.volume_mm3 for one in held.values()),
        where=where,
        pitch_mm=overlap.pitch_mm,
        blocked_by="" if grid and copies else worst,
        slid=slid,
        released=grid and copies,
    )


def _shift(piece: Piece) -> tuple[float, float]:
    """Where the columns stand within a pitch: by chance, but the same for the same piece."""
    seed = zlib.crc32(f"{piece.letter} {piece.pull} {piece.volume_mm3:.6g}".encode())
    u, v = np.random.default_rng(seed).uniform(0.1, 0.9, 2)
    return float(u), float(v)


def _stuck(proof: PieceRelease, parting: Parting, tolerance: float) -> Finding:
    """What holds, where, how deep, and what would help."""
    depth = max(proof.lateral_mm, *(one.lateral_mm for one in proof.slid))
    holder = "the master" if proof.blocked_by == MASTER else f"piece {proof.blocked_by}"
    place = f" at {at(proof.where)}" if proof.where is not None else ""
    free = [one for one in parting.runners_up if one.reach_mm <= tolerance]
    if free:
        best = min(free, key=lambda one: one.piece_count)
        cure = f"A mold of {best.piece_count} pieces ({best.family}) was found to open: ask for that family."
    elif proof.blocked_by == MASTER:
        cure = (
            f"Ease the form by {depth:.1f} mm there, move the seam to that height, or allow one more piece."
        )
    else:
        cure = "Take that piece off first, or turn the natches between the two along this pull."
    return Finding(
        "stop",
        "not-released",
        f"Piece {proof.letter} ({proof.name}) does not come off {leaves(proof.pull)}: {holder} holds it "
        f"{depth:.1f} mm deep{place}.",
        where=(proof.where,) if proof.where is not None else (),
        remedy=cure,
    )


def _incomplete(missing: float) -> Finding:
    """Plaster of the block that is in no piece, or in two."""
    fault = (
        f"{missing / 1000:.1f} mL of the block are in no piece: one is missing."
        if missing > 0
        else f"{-missing / 1000:.1f} mL of the block are in two pieces: they stand in each other's way."
    )
    return Finding("stop", "not-whole", fault, remedy="Cut the pieces anew from the chosen parting.")
