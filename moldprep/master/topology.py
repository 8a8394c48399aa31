"""How triangles hang together: shared corners, open edges, bodies."""

from __future__ import annotations

from collections.abc import Iterator

import numba
import numpy as np
from numpy.typing import NDArray

from ..geometry.mesh import Bools, Floats

Faces = NDArray[np.int64]


def weld(vertices: Floats, faces: Faces) -> tuple[Floats, Faces]:
    """Vertices with exactly equal coordinates made one; unused ones are dropped."""
    clean = np.ascontiguousarray(vertices) + 0.0  # minus zero is zero
    kept, owner = _first_of_equals(clean.view(np.int64))
    return clean[kept], owner[faces]


def weld_near(vertices: Floats, faces: Faces, distance: float) -> tuple[Floats, Faces, int]:
    """Vertices nearer than about `distance` made one; also says how many were drawn in.

    By rounding to a grid of that step, twice, the second grid moved by half a step, so that near
    vertices on two sides of a grid line meet too.
    """
    owner = np.arange(len(vertices))
    points = vertices
    for shift in (0.0, 0.5):
        _, first, back = np.unique(
            np.floor(points / distance + shift).astype(np.int64),
            axis=0,
            return_index=True,
            return_inverse=True,
        )
        points, owner = points[first], back.ravel()[owner]
    return points, owner[faces], len(vertices) - len(points)


def edge_balance(faces: Faces, count: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Undirected edges as keys `low * count + high`, how many faces use each, and the signed sum.

    A surface is closed and wound alike when every signed sum is zero.
    """
    a, b = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    keys = np.minimum(a, b) * count + np.maximum(a, b)
    order = np.sort(keys * 2 + (a < b))
    key = order >> 1
    begin = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    uses = np.diff(np.append(begin, len(key)))
    forward = np.add.reduceat(order & 1, begin)
    return key[begin], uses, 2 * forward - uses


def is_closed(faces: Faces, count: int) -> bool:
    """Whether every edge is used as often one way as the other."""
    return not edge_balance(faces, count)[2].any()


def open_edges(faces: Faces, count: int) -> NDArray[np.int64]:
    """(k, 2) directed edges that lack their counterpart, in the direction the missing face would use."""
    a, b = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    here, there = a * count + b, b * count + a
    _, here_index = np.unique(here, return_index=True)
    lonely = here_index[~np.isin(here[here_index], there)]
    return np.column_stack([b[lonely], a[lonely]])


def loops_of(edges: NDArray[np.int64]) -> Iterator[NDArray[np.int64]]:
    """The closed loops of vertices that directed edges chain into; what never closes is left out."""
    following: dict[int, list[int]] = {}
    for begin, end in edges.tolist():
        following.setdefault(begin, []).append(end)
    while following:
        first = next(iter(following))
        chain, at = [first], first
        seen = {first: 0}
        while following.get(at):
            after = following[at].pop()
            if not following[at]:
                del following[at]
            if after in seen:
                loop = chain[seen[after] :]
                for vertex in loop[1:]:
                    del seen[vertex]
                chain = chain[: seen[after] + 1]
                if len(loop) >= 3:
                    yield np.array(loop)
            else:
                seen[after] = len(chain)
                chain.append(after)
            at = after
        following.pop(at, None)


def bodies(faces: Faces, count: int) -> tuple[NDArray[np.int64], int]:
    """(m,) number of the connected body of each face, and how many there are."""
    roots = _roots(faces, count)[faces[:, 0]]
    _, body = np.unique(roots, return_inverse=True)
    return body.ravel(), int(body.max()) + 1


def repeated_corner(faces: Faces) -> Bools:
    """(m,) faces of which two corners are the same vertex."""
    a, b, c = faces.T
    return np.asarray((a == b) | (b == c) | (c == a))


@numba.njit(cache=True, nogil=True)
def _first_of_equals(bits):  # type: ignore[no-untyped-def]
    """Indices of the first of each set of equal rows, and for each row the number of its set."""
    size = 4
    while size < 2 * len(bits):
        size *= 2
    table = np.full(size, -1, np.int64)
    kept, owner = np.empty(len(bits), np.int64), np.empty(len(bits), np.int64)
    count = 0
    for i in range(len(bits)):
        mixed = np.uint64(bits[i, 0]) * np.uint64(0x9E3779B97F4A7C15)
        mixed = (mixed ^ (mixed >> np.uint64(29)) ^ np.uint64(bits[i, 1])) * np.uint64(0xBF58476D1CE4E5B9)
        mixed = (mixed ^ (mixed >> np.uint64(32)) ^ np.uint64(bits[i, 2])) * np.uint64(0x94D049BB133111EB)
        slot = np.int64((mixed ^ (mixed >> np.uint64(31))) & np.uint64(size - 1))
        while True:
            first = table[slot]
            if first < 0:
                table[slot] = count
                kept[count], owner[i] = i, count
                count += 1
                break
            j = kept[first]
            if bits[j, 0] == bits[i, 0] and bits[j, 1] == bits[i, 1] and bits[j, 2] == bits[i, 2]:
                owner[i] = first
                break
            slot = (slot + 1) & (size - 1)
    return kept[:count].copy(), owner


@numba.njit(cache=True, nogil=True)
def _roots(faces, count):  # type: ignore[no-untyped-def]
    """For each vertex the least vertex of its body (union by halving)."""
    root = np.arange(count)
    for f in range(len(faces)):
        for k in range(1, 3):
            a, b = faces[f, 0], faces[f, k]
            while root[a] != a:
                root[a] = root[root[a]]
                a = root[a]
            while root[b] != b:
                root[b] = root[root[b]]
                b = root[b]
            if a < b:
                root[b] = a
            else:
                root[a] = b
    for v in range(count):
        a = v
        while root[a] != a:
            a = root[a]
        root[v] = a
    return root
