"""Records to plain values that JSON can hold, and back, so that an old answer can be shown with its working.

Floats are rounded to a billionth of their unit, finer than what showing a figure forgives: a stored 95 gpm stays 95.0.
Dates are ISO text; a mapping is a list of pairs, since its keys are no text. Where a field may hold one of several
records, the record's name stands beside its fields.
"""

import json
import types
import typing
from collections.abc import Callable, Mapping
from datetime import date, datetime
from functools import cache
from json.encoder import encode_basestring_ascii
from typing import Any, Final, Literal, TypeVar, Union, get_args, get_origin

from readiness.engineering.records import Concentrate, Fuel, Lay, Lot, Moment, Policy

PLACES = 9
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


class Scribe:
    """Writes records as the JSON of their plain values, many of them from one fleet.

    The same as ``json.dumps(plain(value))`` without spaces, and several times quicker: the names of a record's fields
    are written once a kind, and what many units share (a lot with its concentrate and listings) once a fleet.
    """

    __slots__ = ("_known",)

    def __init__(self) -> None:
        self._known: dict[int, tuple[Any, str]] = {}  # by id; the record is kept, so that its id stays its own

    def text(self, value: Any) -> str:
        """The JSON of a record, or of anything that records hold. Raises TypeError for anything else."""
        kind = type(value)
        write = _SCALARS.get(kind)
        if write is not None:
            return write(value)
        if kind in _SHARED:
            known = self._known.get(id(value))
            if known is None:
                known = self._known[id(value)] = value, self._record(value)
            return known[1]
        if hasattr(value, "_fields"):
            return self._record(value)
        if kind is tuple:
            return f"[{','.join([self.text(each) for each in value])}]"
        return json.dumps(plain(value), separators=(",", ":"))

    def _record(self, value: Any) -> str:
        kind: Any = type(value)
        frame: str = _frame(kind)
        scalar, text = _SCALARS.get, self.text  # most fields are scalars: no further call for them
        return frame % tuple([write(each) if (write := scalar(type(each))) else text(each) for each in value])


@cache
def _frame(kind: Any) -> str:
    """A record's JSON with a hole for each field."""
    fields = "".join(f',"{name}":%s' for name in kind._fields)
    return f'{{"{NAME}":"{kind.__name__}"{fields}}}'


_SHARED: Final = frozenset({Concentrate, Fuel, Lay, Lot, Moment, Policy})
_SCALARS: Final[dict[type, Callable[[Any], str]]] = {
    str: encode_basestring_ascii,
    int: int.__repr__,
    float: lambda value: float.__repr__(round(value, PLACES)),
    bool: lambda value: "true" if value else "false",
    type(None): lambda value: "null",
    date: lambda value: f'"{value.isoformat()}"',
    datetime: lambda value: f'"{value.isoformat()}"',
}


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
