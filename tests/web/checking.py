"""A morning check as the form posts it: what every test of it fills in, sends and looks at."""

from __future__ import annotations

from datetime import timedelta

from readiness.models import Check
from tests.cast import SIX
from tests.judged import Rigged

HOUR = timedelta(hours=1)
NOW = SIX + HOUR
ID = "01900000-0000-7000-8000-00000000000a"


def whole(rig: Rigged, **more: str) -> dict[str, str]:
    """Everything aboard looked at and good: the tanks are given by the test."""
    line = f"l{rig.line.pk}"
    answers = {f"g{rig.pails[0].pk}": "good", f"{line}_set": "300", line: "good", f"{line}_flushed": "yes"}
    return {"entry_id": ID, "started_at": (NOW - timedelta(seconds=90)).isoformat(), **answers, **more}


def of_tank(tank, number: str, unit: str = "gal", answer: str = "good") -> dict[str, str]:
    return {f"c{tank.pk}_ml_number": number, f"c{tank.pk}_ml_unit": unit, f"c{tank.pk}": answer}


def post(client, rig: Rigged, answers: dict[str, str]):
    return client.post(f"/crew/{rig.unit.pk}/check/", answers)


def made() -> Check:
    return Check.objects.get(pk=ID)


def faults(answer) -> dict[str, list[str]]:
    assert answer.status_code == 200, "the form again"
    assert not Check.objects.filter(pk=ID).exists(), "nothing is half saved"
    return dict(answer.context["form"].errors)
