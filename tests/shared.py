"""What one worker of a test run has made is handed to the other workers of the same run.

Only a run on several workers has a folder for that; it is made when the run begins and goes when it ends,
so that nothing is found that another state of the code has made.
"""

from __future__ import annotations

import fcntl
import io
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

T = TypeVar("T")

FOLDER_IS_IN = "MOLDPREP_TESTS_SHARE"
"""The environment variable that names the run's folder."""


def shared(name: str, make: Callable[[], T]) -> T:
    """What `make` makes, or what it has made under this name for another worker, to the last bit.

    While one worker makes it, the others that ask for it wait.
    """
    folder = os.environ.get(FOLDER_IS_IN)
    if folder is None:
        return make()
    path = Path(folder) / f"{name}.pickle"
    with path.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if path.exists():
            found: T = pickle.loads(path.read_bytes())
            return found
        made = make()
        path.write_bytes(packed(made))
        return made


def packed(value: object) -> bytes:
    """Pickled; arrays that nobody may write in come back as such."""
    data = io.BytesIO()
    _Packer(data, protocol=pickle.HIGHEST_PROTOCOL).dump(value)
    return data.getvalue()


class _Packer(pickle.Pickler):
    def reducer_override(self, value: object) -> Any:
        if type(value) is np.ndarray and not value.flags.writeable and not value.dtype.hasobject:
            plain = np.array(value, order="K")
            return _frozen, (plain,)
        return NotImplemented


def _frozen(array: np.ndarray) -> np.ndarray:
    array.flags.writeable = False
    return array
