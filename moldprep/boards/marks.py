"""The mold's mark: raised and mirrored on a board, so that it reads on the plaster."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..geometry.lettering import lettering

SIZES = (9.0, 8.0, 7.0, 6.0, 5.0)
"""Capital heights that are tried, mm; smaller letters fill up with slip and plaster."""
RAISED_MM = 0.8
"""How far the letters stand out of the board: deep enough to read on an old mold, shallow enough to leave."""
MARGIN_MM = 4.0
"""Clear of the edges of the face, mm."""
TURNS_DEG = (0.0, 90.0, 45.0, 135.0)
PLACES = 24
"""Places tried along each side of the room."""
TAG_LIP_MM = 4.0
TAG_SIZE_MM = 7.0


def mark_in(room: BaseGeometry, text: str) -> BaseGeometry | None:
    """The mirrored text where it fits into a plane figure, as large as it can be; None where it fits nowhere."""
    if room.is_empty or not text.strip():
        return None
    inner = room.buffer(-MARGIN_MM)
    if inner.is_empty:
        return None
    shapely.prepare(inner)
    low_x, low_y, high_x, high_y = inner.bounds
    x, y = np.meshgrid(np.linspace(low_x, high_x, PLACES), np.linspace(low_y, high_y, PLACES))
    places = np.column_stack([x.ravel(), y.ravel()])
    for size in SIZES:
        letters = mirrored(lettering(text, size=size))
        for turn in TURNS_DEG:
            turned = shapely.affinity.rotate(letters, turn, origin=(0, 0))
            frame = np.array(shapely.oriented_envelope(turned).exterior.coords)[:-1]
            boxes = shapely.polygons(frame + places[:, None])
            fits = shapely.contains_properly(inner, boxes)
            if fits.any():
                # the lowest place, then the one nearest to the middle, as one signs a page
                middle = np.abs(places[:, 0] - (low_x + high_x) / 2)
                first = np.lexsort((middle, places[:, 1]))
                x0, y0 = places[first[np.argmax(fits[first])]]
                return shapely.affinity.translate(turned, float(x0), float(y0))
    return None


def tag(text: str, *, longest: float) -> tuple[BaseGeometry, BaseGeometry]:
    """A little plate's outline and the mirrored text on it, for pieces that no board marks.

    Letters of TAG_SIZE_MM, smaller ones where the tag would be longer than `longest` mm, but never smaller
    than the least of SIZES.
    """
    for size in [size for size in SIZES if size <= TAG_SIZE_MM]:
        letters = mirrored(lettering(text, size=size))
        outline = shapely.box(*letters.bounds).buffer(TAG_LIP_MM, join_style="mitre")
        if float(np.ptp(outline.bounds[::2])) <= longest:
            break
    return outline, letters


def mirrored(letters: BaseGeometry) -> BaseGeometry:
    """Letters, their middle at the origin, as a stamp shows them."""
    x, y = (letters.bounds[0] + letters.bounds[2]) / 2, (letters.bounds[1] + letters.bounds[3]) / 2
    return shapely.affinity.affine_transform(letters, [-1, 0, 0, 1, x, -y])
