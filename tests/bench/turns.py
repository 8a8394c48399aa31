"""Every sample that must release, under random turns about the vertical and scales: run by hand.

`python -m tests.bench.turns [TURNS] [SAMPLE ...]` prints a row for each sample: in how many poses the family
stayed, in how many both witnesses of the release were content, the widest hold that each of them saw, and
the seconds it took. Poses that failed follow.
"""

from __future__ import annotations

import sys
from functools import partial
from time import perf_counter

from rich.console import Console

from moldprep.errors import MoldprepError
from tests.samples import catalog
from tests.turned import RELEASED, poses, turned_mold

TURNS = 20
say = partial(Console(soft_wrap=True).print, highlight=False, markup=False)


def main(turns: int, stems: list[str]) -> None:
    say(
        f"{'sample':18}{'poses':>6}{'family':>8}{'opens':>7}{'columns':>9}{'copies':>8}{'natches':>9}{'s':>7}"
    )
    for stem in stems:
        begin = perf_counter()
        held, slid, families, opens, bare = 0.0, 0.0, 0, 0, 0
        failed: list[str] = []
        tried = poses(stem, turns=turns)
        for pose in tried:
            name = f"    {stem} turned {pose.turn_deg:.3f} x {pose.scale}"
            try:
                mold = turned_mold(stem, pose)
            except MoldprepError as error:
                failed.append(f"{name}: {error}")
                continue
            family, release = mold.parting.chosen.family, mold.release
            families += family == catalog()[stem]["family"]
            opens += release.opens
            if family != catalog()[stem]["family"] or not release.opens:
                failed.append(f"{name}: {family}; {' '.join(finding.says for finding in release.findings)}")
            bare += sum(not joint.natches for joint in mold.pieces.joints)
            held = max(held, *(proof.lateral_mm for proof in release.proofs))
            slid = max(slid, *(one.lateral_mm for proof in release.proofs for one in proof.slid))
        took = perf_counter() - begin
        kept = "all" if not bare else f"-{bare}"
        say(f"{stem:18}{len(tried):6}{families:8}{opens:7}{held:9.3f}{slid:8.3f}{kept:>9}{took:7.0f}")
        for line in failed:
            say(line)


if __name__ == "__main__":
    given = sys.argv[1:]
    count = int(given[0]) if given else TURNS
    main(count, given[1:] or RELEASED)
