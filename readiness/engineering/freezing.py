"""Records to plain values that JSON can hold, and back, so that an old answer can be shown with its working.

Floats are rounded to a millionth of their unit; dates are ISO text; a mapping is a list of pairs, since its keys are no
text. Where a field may hold one of several records, the record's name stands beside its fields.
"""

import types
import typing
from collections.abc import Mapping
from datetime import date, datetime
from functools import cache
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

PLACES = 6
NAME = "record"
T = TypeVar("T")


def plain(value: Any) -> Any:
    """A record, or anything that records hold, as plain values."""
    if isinstance(value, float):
        return round(value, PLACES)
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, date):  # a datetime is one too
        return value.isoformat()
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        fields = {name: plain(each) for name, each in zip(value._fields, value, strict=True)}
        return {NAME: type(value).__name__, **fields}
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    if isinstance(value, frozenset):
        return sorted((plain(each) for each in value), key=repr)
    if isinstance(value, Mapping):
        return [[plain(key), plain(each)] for key, each in value.items()]
    raise TypeError(f"{type(value).__name__} is no part of a record")


def thawed(kind: type[T], value: Any) -> T:
    """The record of `kind` that `plain` was given. Raises KeyError, TypeError or ValueError for anything else."""
    made: T = _thaw(kind, value)
    return made


@cache
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _thaw(kind: Any, value: Any) -> Any:
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return _thaw_one_of(get_args(kind), value)
    if kind is Any or origin is Literal:
        return value
    if origin is tuple:
        return _thaw_tuple(get_args(kind), value)
    if origin is frozenset:
        return frozenset(_thaw(get_args(kind)[0], each) for each in value)
    if origin is not None:  # the only other generic in the records is a mapping
        keys, values = get_args(kind)
        return {_thaw(keys, key): _thaw(values, each) for key, each in value}
    return _thaw_plain(kind, value)


def _thaw_plain(kind: Any, value: Any) -> Any:
    if hasattr(kind, "_fields"):
        hints = _hints(kind)
        return kind(**{name: _thaw(hints[name], value[name]) for name in kind._fields if name in value})
    if kind is datetime or kind is date:
        return kind.fromisoformat(value)
    return kind(value)


def _thaw_tuple(kinds: tuple[Any, ...], value: Any) -> tuple[Any, ...]:
    if len(kinds) == 2 and kinds[1] is Ellipsis:
        return tuple(_thaw(kinds[0], each) for each in value)
    return tuple(_thaw(kind, each) for kind, each in zip(kinds, value, strict=True))


def _thaw_one_of(kinds: tuple[Any, ...], value: Any) -> Any:
    if value is None:
        return None
    records = {kind.__name__: kind for kind in kinds if hasattr(kind, "_fields")}
    if isinstance(value, dict) and value.get(NAME) in records:
        return _thaw(records[value[NAME]], value)
    scalars = [kind for kind in kinds if kind is not type(None) and not hasattr(kind, "_fields")]
    if len(scalars) == 1:
        return _thaw(scalars[0], value)
    return value  # one of several scalars, such as an id or a group's name: JSON keeps which
