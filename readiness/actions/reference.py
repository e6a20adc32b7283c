"""Shipped tables into the database: run as often as one likes, it changes only what the files changed."""

from __future__ import annotations

import csv
import hashlib
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from readiness.models import Fuel, ReferenceVersion

FUELS = "fuels"
_COLUMNS = ("un", "group", "oxygenate_pct", "flash_c", "source", "note")


def load_fuels(now: datetime, path: Path | None = None) -> int:
    """Bring the shipped fuels (fixtures/reference/fuels.csv) up to date; returns how many rows changed.

    Fuels that are gone from the file are retired, never deleted: design spills may name them.
    """
    file = path or Path(settings.FIXTURES_DIR) / "reference" / "fuels.csv"
    text = file.read_text(encoding="utf-8")
    digest = hashlib.sha256(text.encode()).hexdigest()
    with transaction.atomic():
        if ReferenceVersion.objects.filter(name=FUELS, digest=digest).exists():
            return 0
        changed = _merge([_fuel(row) for row in csv.DictReader(text.splitlines())], now)
        ReferenceVersion.objects.update_or_create(name=FUELS, defaults={"digest": digest, "loaded_at": now})
    return changed


def _fuel(row: dict[str, str]) -> Fuel:
    return Fuel(
        un=row["un"],
        name=row["name"],
        group=row["group"],
        oxygenate_pct=int(row["oxygenate_pct"]) if row["oxygenate_pct"] else None,
        flash_c=float(row["flash_c"]) if row["flash_c"] else None,
        source=row["source"],
        note=row["note"],
    )


def _merge(rows: list[Fuel], now: datetime) -> int:
    shipped = {fuel.name.casefold(): fuel for fuel in Fuel.objects.filter(department__isnull=True)}
    new, altered = [], []
    for row in rows:
        old = shipped.pop(row.name.casefold(), None)
        if old is None:
            new.append(row)
        elif (old.name, *_facts(old)) != (row.name, *_facts(row)) or old.retired_on:
            row.pk = old.pk
            altered.append(row)
    gone = [fuel for fuel in shipped.values() if fuel.retired_on is None]
    for fuel in gone:
        fuel.retired_on = now.date()
    Fuel.objects.bulk_create(new)
    Fuel.objects.bulk_update([*altered, *gone], [*_COLUMNS, "name", "retired_on"], batch_size=100)
    return len(new) + len(altered) + len(gone)


def _facts(fuel: Fuel) -> list[Any]:
    return [getattr(fuel, column) for column in _COLUMNS]
