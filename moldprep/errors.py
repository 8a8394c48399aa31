"""What moldprep raises when a request cannot be met.

    MoldprepError
    ├── RequestError          the request makes no sense; exit status 2
    │   ├── FileError         the file cannot be read as a form, or not written
    │   ├── FormError         the mesh cannot be made a closed solid
    │   └── JobError          the job asks for something impossible or unknown
    └── Cancelled             the maker stopped the work; nothing was left behind

A form that is merely awkward raises nothing: it gets a `Finding` (see `findings`).
"""

from __future__ import annotations

Point = tuple[float, float, float]


def at(place: Point) -> str:
    """A place in whole mm, as findings say it: "(22, 0, 59)", never "-0"."""
    return f"({', '.join(str(round(value)) for value in place)})"


class MoldprepError(Exception):
    """The root of all errors that moldprep raises on purpose."""


class RequestError(MoldprepError):
    """A request that cannot be met: what, how much, where, and the cure, in one line.

    `code` is stable and kebab-case; `where` are places on the form in mm (in the file's own
    axes); `remedy` is what the maker can do.
    """

    def __init__(self, says: str, *, code: str, remedy: str, where: tuple[Point, ...] = ()) -> None:
        super().__init__(says)
        self.says = says
        self.code = code
        self.remedy = remedy
        self.where = where

    def __str__(self) -> str:
        places = ""
        if self.where:
            shown = ", ".join(f"({x:.4g}, {y:.4g}, {z:.4g})" for x, y, z in self.where[:3])
            more = f" and {len(self.where) - 3} more" if len(self.where) > 3 else ""
            places = f" At {shown}{more}."
        return f"{self.says}{places} {self.remedy}"


class FileError(RequestError):
    """The file cannot be read as a form, or the folder cannot be written."""


class FormError(RequestError):
    """The mesh cannot be made a closed solid."""


class JobError(RequestError):
    """The job asks for something impossible or unknown."""


class Cancelled(MoldprepError):
    """The maker stopped the work."""
