"""Which heights of a profile of areas are equators and necks, and which are only ends and ripples."""

from __future__ import annotations

import numpy as np
import pytest

from moldprep.parting.lines import _turning_points

ALONG = np.linspace(0, 1, 101)


@pytest.mark.parametrize(
    ("area", "expected"),
    [
        (1 + ALONG, []),  # widening: its ends are no extremes
        (2 - ALONG, []),
        (np.ones(101), []),
        (
            np.where(ALONG < 0.5, 1.0, 1.5 - ALONG),
            [],
        ),  # a cylinder that narrows: no equator where it begins to
        (
            np.where(ALONG < 0.5, 1 + 1e-6 * ALONG, 1.5 - ALONG),
            [],
        ),  # the same, its wall a rounding out of plumb
        (np.sin(np.pi * ALONG), [(50, "equator")]),
        (1.5 - np.sin(np.pi * ALONG), [(50, "neck")]),
        (2 + np.sin(2 * np.pi * ALONG), [(25, "equator"), (75, "neck")]),
        (np.sin(np.pi * ALONG) + 1e-6 * (np.arange(101) % 2), [(50, "equator")]),
    ],
)
def test_turning_points(area: np.ndarray, expected: list[tuple[int, str]]) -> None:
    found = _turning_points(area)
    assert [name for _, name in found] == [name for _, name in expected]
    assert all(abs(k - at) <= 1 for (k, _), (at, _) in zip(found, expected, strict=True))
