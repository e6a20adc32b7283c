"""Which department a command is about."""

from __future__ import annotations

from django.core.management.base import CommandError

from readiness.models import Department


def department_named(name: str) -> Department:
    """The department with this name or slug; without a name the only one there is. Raises CommandError."""
    rows = Department.objects.filter(closed_on__isnull=True)
    if name:
        found = rows.filter(slug=name).first() or rows.filter(name__iexact=name).first()
        if found is None:
            raise CommandError(f"{name!r} was read; the departments are: {_names(rows)}.")
        return found
    every = list(rows[:2])
    if not every:
        raise CommandError('There is no department yet. Make one: python manage.py department "Its Name"')
    if len(every) > 1:
        raise CommandError(f"There are several departments; add --department and one of: {_names(rows)}.")
    return every[0]


def _names(rows: object) -> str:
    return ", ".join(str(row) for row in rows) or "none yet"  # type: ignore[attr-defined] # a queryset of departments
