"""The job's keys as `job` itself declares them: types, defaults, limits, and what is said of them."""

from __future__ import annotations

import ast
import inspect
from functools import cache
from types import NoneType
from typing import Any, get_args, get_origin

import msgspec

from ....job import Job, Part

Key = tuple[str, ...]
"""A place in the job: part and key, as `("cottle", "wall_mm")`."""
USUAL = Job()


def every_key() -> tuple[Key, ...]:
    """All keys of the job, part by part."""
    return tuple(
        (part, key) for part in Job.__struct_fields__ for key in getattr(USUAL, part).__struct_fields__
    )


def value_at(job: Job, key: Key) -> Any:
    """What the job says there."""
    return getattr(getattr(job, key[0]), key[1])


def usual(key: Key) -> Any:
    """What a job says there when the maker says nothing."""
    return value_at(USUAL, key)


def replaced(job: Job, changes: dict[Key, Any]) -> Job:
    """The job with other values at some keys."""
    parts: dict[str, dict[str, Any]] = {}
    for (part, key), value in changes.items():
        parts.setdefault(part, {})[key] = value
    made = {name: msgspec.structs.replace(getattr(job, name), **values) for name, values in parts.items()}
    return msgspec.structs.replace(job, **made)


@cache
def type_at(key: Key) -> Any:
    """The type declared there, None left out of it; a further step goes into a struct, a tuple or a list's items.

    ("target", "stretch", "zone_mm", "0") is the first height of the stretch, ("cast", "trials", "minutes") a
    trial's.
    """
    kind: Any = Job
    for step in key:
        kind = item_type(kind) or kind
        if isinstance(kind, type) and issubclass(kind, Part):
            kind = next(field.type for field in msgspec.structs.fields(kind) if field.name == step)
        else:
            kind = get_args(kind)[int(step)]
        kind = _without_none(kind)
    return kind


def optional(key: Key) -> bool:
    """Whether the job may say nothing there."""
    return usual(key) is None


def item_type(kind: Any) -> Any:
    """Of what a list is made, None for what is no list of any length."""
    given = get_args(kind)
    return given[0] if get_origin(kind) is tuple and len(given) == 2 and given[1] is Ellipsis else None


@cache
def docs() -> dict[Key, str]:
    """What `job` says under each key, in one line, by part of the job and key."""
    names = {type(getattr(USUAL, part)).__name__: part for part in Job.__struct_fields__}
    tree = ast.parse(inspect.getsource(inspect.getmodule(Job) or Job))
    found: dict[Key, str] = {}
    for node in tree.body:
        if not isinstance(node, ast.ClassDef) or node.name not in names:
            continue
        for field, after in zip(node.body, node.body[1:], strict=False):
            if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
                text = after.value if isinstance(after, ast.Expr) else None
                if isinstance(text, ast.Constant) and isinstance(text.value, str):
                    found[names[node.name], field.target.id] = " ".join(text.value.split())
    return found


def _without_none(kind: Any) -> Any:
    """A declared type less its None."""
    given = get_args(kind)
    if NoneType not in given:
        return kind
    (only,) = [one for one in given if one is not NoneType]
    return only
