"""moldprep: from a mesh of a form to the bench sheet of its plaster mold.

    from pathlib import Path
    import moldprep

    job = moldprep.job_from_toml("[shrinkage]\\ntotal_percent = 12.0\\n")
    master = moldprep.read_master(Path("tumbler.stl"), job.form)
    plan = moldprep.plan(master, job)
    Path("sheet.pdf").write_bytes(moldprep.sheet_pdf(plan))

Names are loaded when first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .errors import Cancelled, FileError, FormError, JobError, MoldprepError, RequestError
    from .files.read import read_master
    from .findings import Finding
    from .job import Job, job_from_dict, job_from_toml
    from .master import Master, master_from_bytes
    from .planning import Plan, plan
    from .sheet.paper import sheet_pdf
    from .sheet.record import record, record_json
    from .working import SILENT, Memo, Watch

__version__ = "0.1.0"

_HOME = {
    "Cancelled": "errors",
    "FileError": "errors",
    "Finding": "findings",
    "FormError": "errors",
    "Job": "job",
    "JobError": "errors",
    "Master": "master",
    "Memo": "working",
    "MoldprepError": "errors",
    "Plan": "planning",
    "RequestError": "errors",
    "SILENT": "working",
    "Watch": "working",
    "job_from_dict": "job",
    "job_from_toml": "job",
    "master_from_bytes": "master",
    "plan": "planning",
    "read_master": "files.read",
    "record": "sheet.record",
    "record_json": "sheet.record",
    "sheet_pdf": "sheet.paper",
}

__all__ = [
    "SILENT",
    "Cancelled",
    "FileError",
    "Finding",
    "FormError",
    "Job",
    "JobError",
    "Master",
    "Memo",
    "MoldprepError",
    "Plan",
    "RequestError",
    "Watch",
    "job_from_dict",
    "job_from_toml",
    "master_from_bytes",
    "plan",
    "read_master",
    "record",
    "record_json",
    "sheet_pdf",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"moldprep has no {name!r}; it has {', '.join(sorted(_HOME))}")
    return getattr(import_module(f".{_HOME[name]}", __name__), name)
