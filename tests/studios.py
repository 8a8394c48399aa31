"""A studio's library with something of everything in it."""

from __future__ import annotations

import sqlite3
from hashlib import sha256
from pathlib import Path

from moldprep.drying import Reading
from moldprep.files.studio import (
    Contents,
    Studio,
    job_of_record,
    schema,
)
from moldprep.job import Bar, Job, Trial

TOML = "# the blue clay\n[shrinkage]\ntotal_percent = 12.5\n"
FORM = b"solid bowl\nendsolid bowl\n" * 100
DIGEST = sha256(FORM).hexdigest()
RECORD = (
    b'{"format": "moldprep-plan/1", "name": "bowl", "pieces": [{}, {}], "wet_total_g": 8000, '
    b'"dry_total_g": 5500, "master": {"source_sha256": "' + DIGEST.encode() + b'"}, '
    b'"job": {"plaster": {"consistency": 75}}}\n'
)


def filled(path: Path) -> Contents:
    """Enter something of everything, and tell what the library then holds."""
    with Studio(path) as studio:
        studio.save_job("jug", TOML, date="2031-05-04")
        studio.save_job("bowl", Job(), form="bowl.stl", digest=DIGEST, record=RECORD)
        studio.register_mold("J-1", form="jug", pieces=3, plan=RECORD, dry_g=6111.5, date="May")
        studio.register_mold("B-1", form="bowl", pieces=2)
        for kept in (True, True, False):
            studio.add_cast("J-1", kept=kept, date="June")
        studio.add_trial(Trial(10, 4.2), slip="white", mold="J-1", date="June")
        studio.add_trial(Trial(25, 5), slip="red")
        studio.add_bar("white", Bar(100, 88, 94), date="April")
        studio.add_bar("white", Bar(100, 87), upright=True)
        studio.add_reading("J-1", Reading(12, 7900.5))
        studio.add_reading("J-1", Reading(0, 8500))
        studio.add_reading("J-1", Reading(0, 8100), anew=True, date="July")
        studio.retire("B-1", date="July")
        return studio.contents()


def held(path: Path) -> Contents:
    with Studio(path) as studio:
        return studio.contents()


def old_library(path: Path) -> None:
    """A library as the first version wrote it: one log a mold, jobs without form and record."""
    raw = sqlite3.connect(path)
    for statement in schema.MIGRATIONS[0]:
        raw.execute(statement)
    raw.execute("INSERT INTO jobs VALUES ('jug', 'toml', ?, 'May')", (TOML,))
    raw.execute("INSERT INTO molds VALUES ('J-1', 'jug', 3, NULL, 6111.5, 'May', NULL)")
    raw.execute("INSERT INTO readings VALUES ('J-1', 12, 7900.5, 'June'), ('J-1', 0, 8500, '')")
    raw.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    raw.execute("PRAGMA user_version = 1")
    raw.commit()
    raw.close()


PLAN_JOB = job_of_record(RECORD)
"""The job of the plan that `RECORD` tells of."""
