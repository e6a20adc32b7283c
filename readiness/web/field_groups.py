"""Forms whose fields stand in groups, folded away where nothing was written in them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, NamedTuple

from django.forms import BoundField

from readiness.web.forms import Form

Groups = tuple[tuple[str, tuple[str, ...]], ...]  # (title, names of fields)


class Group(NamedTuple):
    """Fields that belong together. ``opened``: drawn open, since they are needed or were filled in."""

    title: str
    fields: tuple[BoundField, ...]
    opened: bool


class Grouped(Form):
    """Some fields always in sight, the others in groups; draw it with worksheet/fields.html."""

    groups_of: ClassVar[Groups] = ()  # after the first fields: (title, names)
    opens: ClassVar[str] = ""  # the title of a group that is never folded away

    @property
    def first(self) -> list[BoundField]:
        """The fields that are always in sight."""
        grouped = {name for _, names in self.groups_of for name in names}
        return [self[name] for name in self.fields if name not in grouped and not self[name].is_hidden]

    @property
    def groups(self) -> list[Group]:
        """The others, folded away unless something was written in them or is wrong."""
        found = []
        for title, names in self.groups_of:
            fields = tuple(self[name] for name in names if name in self.fields)
            if not fields:
                continue
            begun = self.is_bound and any(field.errors or self.filled(field.name) for field in fields)
            suggested = self._suggested([field.name for field in fields])
            found.append(Group(title, fields, begun or suggested or title == self.opens))
        return found

    def _suggested(self, names: Sequence[str]) -> bool:
        """Whether an address began one of these fields otherwise than it begins by itself."""
        return any(self.initial.get(name) not in (None, "", self.fields[name].initial) for name in names)

    def filled(self, name: str) -> bool:
        """Whether something other than the field's own beginning was written."""
        value = self.cleaned_data.get(name) if self.is_valid() else None
        return value not in (None, "", (), [], False) and value != self.fields[name].initial
