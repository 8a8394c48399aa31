"""The layer stack against marching: every voxel of plaster is labelled by piece and moved along its pull.

Nothing of the optimiser is used here but its answer and the constants of its price. Forms are random
piles of boxes on a grid, so that slices, columns and voxels see the same form without error.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations, pairwise

import numpy as np
import pytest

from moldprep.geometry.mesh import Mesh
from moldprep.job import PartingJob
from moldprep.parting.layers import family_of, piece_count
from moldprep.parting.pricing import locked_volumes
from moldprep.parting.search import (
    EXCESS_PRICE,
    FRONT_PRICE,
    LOCKED_PRICE,
    OFF_AXIS_PRICE,
    STACKED_PRICE,
    best_stacks,
    fixed_stacks,
    prices_of,
)
from moldprep.parting.tables import PartingTables, tabulate

CELL = 4.0
ACROSS, HIGH = 6, 6
CENTRE = ACROSS * CELL / 2
JOB = PartingJob()
ROUNDING = 1e-6
"""Sums of a few thousand numbers in double precision, relative."""


def pile(seed: int) -> np.ndarray:
    """A random union of boxes that spans the whole grid: (x, y, z) bool."""
    random = np.random.default_rng(seed)
    form = np.zeros((ACROSS, ACROSS, HIGH), bool)
    for _ in range(4):
        low = random.integers(0, [ACROSS - 1, ACROSS - 1, HIGH - 1])
        high = low + 1 + random.integers(1, 4, 3)
        form[tuple(slice(a, b) for a, b in zip(low, high, strict=True))] = True
    form[0, 2:4, 2], form[-1, 2:4, 2], form[2:4, 0, 2], form[2:4, -1, 2] = True, True, True, True
    form[2:4, 2:4, :] = True
    return form


def boxed(form: np.ndarray) -> Mesh:
    """The surface of the voxels, outward."""
    padded = np.pad(form, 1)
    corners: list[tuple[int, ...]] = []
    faces = []
    for axis in range(3):
        one, two = (axis + 1) % 3, (axis + 2) % 3
        for way in (1, -1):
            bare = padded & ~np.roll(padded, -way, axis)
            for cell in np.argwhere(bare) - 1:
                base = cell.copy()
                base[axis] += way > 0
                square = []
                for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))[::way]:
                    corner = base.copy()
                    corner[one] += a
                    corner[two] += b
                    square.append(len(corners))
                    corners.append(tuple(corner))
                faces += [square[:3], [square[0], *square[2:]]]
    place, index = np.unique(np.array(corners), axis=0, return_inverse=True)
    return Mesh(place * CELL, index.ravel()[np.array(faces)])


def tables_of(form: np.ndarray) -> PartingTables:
    return tabulate(
        boxed(form),
        (0.0, 0.0, 1.0),
        levels=CELL * np.arange(HIGH + 1),
        lines=ACROSS,
        azimuths_deg=(0.0, 90.0),
        through=(CENTRE, CENTRE, 0.0),
    )


class March:
    """Plaster with a wall all round and a floor beneath, moved voxel by voxel."""

    def __init__(self, form: np.ndarray) -> None:
        self.form = form
        self.block = np.pad(form, [(1, 1), (1, 1), (1, 0)])  # walls and floor; flush on top

    def locked(self, piece: np.ndarray, pull: tuple[int, int, int]) -> np.ndarray:
        """The plaster of `piece` (bool on the block) that meets the form on its way out."""
        struck = np.zeros_like(piece)
        axis, way = int(np.flatnonzero(pull)[0]), sum(pull)
        size = self.block.shape[axis]
        for step in range(1, size):
            moved = np.zeros_like(self.block)
            to, source = [slice(None)] * 3, [slice(None)] * 3
            to[axis] = slice(0, size - step) if way > 0 else slice(step, size)
            source[axis] = slice(step, size) if way > 0 else slice(0, size - step)
            moved[tuple(to)] = self.block[tuple(source)]
            struck |= moved
        return piece & ~self.block & struck

    def slab(self, low: int, high: int) -> np.ndarray:
        """The block between two levels; the lowest layer takes the floor too."""
        cells = np.zeros_like(self.block)
        cells[:, :, (0 if low == 0 else low + 1) : high + 1] = True
        return cells

    def axial(self, low: int, high: int, way: int) -> tuple[float, float]:
        """(counted, all) locked volume of a slab that leaves up or down."""
        locked = self.locked(self.slab(low, high), (0, 0, way))
        counted = 0
        for k in range(locked.shape[2]):
            for i, j in np.argwhere(locked[:, :, k]):
                counted += any(
                    locked[a : a + 2, b : b + 2, k].all() and locked[a : a + 2, b : b + 2, k].size == 4
                    for a in (i - 1, i)
                    for b in (j - 1, j)
                    if a >= 0 and b >= 0
                )
        return counted * CELL**3, float(locked.sum()) * CELL**3

    def split(self, low: int, high: int, across: int, offset: int) -> tuple[float, float]:
        """(counted, all) locked volume of a slab whose halves leave along x (0) or y (1), parted at a cell."""
        slab, ahead = self.slab(low, high), np.zeros_like(self.block)
        part = [slice(None)] * 3
        part[across] = slice(offset + 1, None)
        ahead[tuple(part)] = True
        plus, minus = [0, 0, 0], [0, 0, 0]
        plus[across], minus[across] = 1, -1
        locked = self.locked(slab & ahead, tuple(plus)) | self.locked(slab & ~ahead, tuple(minus))
        on_line = locked.sum(axis=across)  # (other, z)
        counted = 0
        for z in range(on_line.shape[1]):
            for j, own in enumerate(on_line[:, z]):
                beside = [on_line[i, z] for i in (j - 1, j + 1) if 0 <= i < len(on_line)]
                counted += min(int(own), int(max(beside)))
        return counted * CELL**3, float(locked.sum()) * CELL**3

    def level_seam(self, k: int) -> float:
        """Outline at a level: the longer of the slice below and the slice above."""
        return max(outline(self.form[:, :, i]) for i in (k - 1, k))

    def upright_seam(self, low: int, high: int, across: int, offset: int) -> float:
        """Outline just beyond the plane; a flat face in a level plane counts to the layer above it."""
        if offset >= ACROSS:
            return 0.0
        cut = np.pad(np.take(self.form, offset, axis=across), 1)
        walls = (cut[1:] != cut[:-1])[:, 1:-1][:, low:high].sum()
        flats = (cut[:, 1:] != cut[:, :-1])[1:-1]
        last = high + 1 if high == HIGH else high
        return CELL * float(walls + flats[:, low:last].sum())


def outline(cut: np.ndarray) -> float:
    cut = np.pad(cut, 1)
    return CELL * float((cut[1:] != cut[:-1]).sum() + (cut[:, 1:] != cut[:, :-1]).sum())


def volume_price(volumes: tuple[float, float]) -> float:
    return EXCESS_PRICE * volumes[0] + LOCKED_PRICE * volumes[1]


def cheapest_of_all(form: np.ndarray, split_layers: int) -> dict[str, float]:
    """The least price of each family, by trying every stack."""
    march = March(form)

    @cache
    def slab(low: int, high: int) -> float:
        prices = []
        for across in (0, 1):
            for offset in range(ACROSS + 1):
                plane = (FRONT_PRICE if across == 0 else 0.0) + (
                    OFF_AXIS_PRICE if offset * CELL != CENTRE else 0.0
                )
                seam = JOB.vertical_price * march.upright_seam(low, high, across, offset)
                prices.append(volume_price(march.split(low, high, across, offset)) + seam + plane)
        return min(prices)

    @cache
    def end(k: int, way: int) -> float:
        return volume_price(march.axial(0, k, -1) if way < 0 else march.axial(k, HIGH, 1))

    best = {"one-piece": end(HIGH, -1)}
    for count in range(1, split_layers + 3):
        for planes in combinations(range(1, HIGH), count - 1):
            bounds = [0, *planes, HIGH]
            seams = sum(JOB.horizontal_price * march.level_seam(k) for k in planes)
            for foot in (False, True):
                for top in (False, True):
                    splits = count - foot - top
                    if splits < 0 or splits > split_layers or (splits == 0 and not (foot and top)):
                        continue
                    inner = list(pairwise(bounds))[int(foot) : count - int(top)]
                    pieces = foot + top + 2 * splits
                    cost = seams + sum(slab(*part) for part in inner) + JOB.piece_price * (pieces - 1)
                    cost += STACKED_PRICE * max(0, splits - 1)
                    cost += (end(bounds[1], -1) if foot else 0.0) + (end(bounds[-2], 1) if top else 0.0)
                    name = {0: "two-piece", 1: "halves" + "+foot" * foot + "+top" * top}.get(
                        splits, "split-layers"
                    )
                    best[name] = min(best.get(name, np.inf), cost)
    return best


def optimiser_best(tables: PartingTables, split_layers: int) -> dict[str, tuple[float, tuple]]:
    prices = prices_of(
        tables, JOB.horizontal_price * tables.outline, JOB, allowed=np.ones(len(tables.levels), bool)
    )
    best: dict[str, tuple[float, tuple]] = {}
    for cost, layers in best_stacks(tables, prices, split_layers=split_layers):
        name = family_of(layers)
        if name not in best or cost < best[name][0]:
            best[name] = cost, layers
    return best


@pytest.mark.parametrize("seed", range(8))
def test_the_search_finds_the_same_optimum_of_every_family_as_trying_all_stacks(seed: int) -> None:
    form = pile(seed)
    expected = cheapest_of_all(form, split_layers=2)
    found = optimiser_best(tables_of(form), split_layers=2)
    assert set(found) == set(expected)
    for family, cost in expected.items():
        assert found[family][0] == pytest.approx(cost, rel=ROUNDING), family
    best = min(found.values(), key=lambda one: one[0])
    assert best[0] == pytest.approx(min(expected.values()), rel=ROUNDING)


def test_a_recess_under_the_foot_is_locked_for_halves_and_free_for_a_foot_piece() -> None:
    form = np.ones((ACROSS, ACROSS, HIGH), bool)
    form[:, :, 3] = False  # a groove all round, so that one piece is locked
    form[2:4, 2:4, 3] = True
    form[2:4, 2:4, 0] = False
    expected = cheapest_of_all(form, split_layers=1)
    found = optimiser_best(tables_of(form), split_layers=1)
    assert found["halves"][0] == pytest.approx(expected["halves"], rel=ROUNDING)
    assert locked_volumes(tables_of(form), found["halves"][1])[0] == pytest.approx(4 * CELL**3)
    cheapest = min(found, key=lambda family: found[family][0])
    assert cheapest == "halves+foot" and min(expected, key=expected.__getitem__) == cheapest
    assert piece_count(found[cheapest][1]) == 3


@pytest.mark.parametrize("seed", range(3))
def test_the_volumes_of_a_stack_are_those_of_marching_its_pieces(seed: int) -> None:
    form = pile(seed)
    tables, march = tables_of(form), March(form)
    for _, layers in optimiser_best(tables, split_layers=2).values():
        counted = whole = 0.0
        for layer in layers:
            low, high = round(layer.low_mm / CELL), round(layer.high_mm / CELL)
            if layer.kind == "split":
                part = march.split(
                    low, high, round((layer.azimuth_deg or 0) / 90), round((layer.offset_mm or 0) / CELL)
                )
            else:
                part = march.axial(low, high, -1 if layer.kind == "down" else 1)
            counted, whole = counted + part[0], whole + part[1]
        assert locked_volumes(tables, layers) == pytest.approx((counted, whole), rel=ROUNDING, abs=ROUNDING)


@pytest.mark.parametrize("seed", range(3))
def test_fixed_planes_give_the_best_stack_that_has_exactly_them(seed: int) -> None:
    tables = tables_of(pile(seed))
    prices = prices_of(tables, JOB.horizontal_price * tables.outline, JOB, allowed=np.ones(HIGH + 1, bool))
    free = optimiser_best(tables, split_layers=1)
    for family, (cost, layers) in free.items():
        planes = [round(layer.low_mm / CELL) for layer in layers[1:]]
        fixed = {family_of(found): price for price, found in fixed_stacks(tables, prices, planes)}
        assert fixed[family] == pytest.approx(cost, rel=ROUNDING)
        assert all(len(found) - 1 == len(planes) for _, found in fixed_stacks(tables, prices, planes))
