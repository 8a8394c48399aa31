"""Options of the page: where it listens, and the studio's library."""

from __future__ import annotations

from pathlib import Path

import click

from ..options import Group, option

PAGE: Group = (
    option(
        "The page",
        None,
        "--port",
        type=click.IntRange(0, 65535),
        default=8640,
        metavar="N",
        help="Where the browser finds it; 8640 when left out, and the next free one when that is taken.",
    ),
    option(
        "The page",
        None,
        "--listen",
        default="127.0.0.1",
        metavar="ADDRESS",
        help="An address of this machine at which others may open the page, such as 0.0.0.0 for all of them; "
        "this machine alone when left out. There is no password.",
    ),
    option(
        "The page",
        None,
        "--no-browser",
        "show",
        flag_value=False,
        default=True,
        help="Do not open the browser; the page's address is printed.",
    ),
    option(
        "The studio",
        None,
        "--library",
        type=click.Path(path_type=Path, dir_okay=False),
        metavar="FILE",
        help="The studio's library, made when first used; studio.db in your settings' folder when left out.",
    ),
)
