"""A laboratory sample with its values against the department's limits."""

from __future__ import annotations

from readiness.engineering.proof_sheets import finding_words
from readiness.engineering.sample_limits import L1, Limits, weigh_kept
from readiness.models import Department, Policy, Sample


def limits_of(department: Department) -> Limits:
    """The shipped limits (row L1) with what the department changed in them."""
    changed = Policy.objects.filter(department=department).values_list("sample_limits", flat=True).first() or {}
    known = {name: value for name, value in changed.items() if name in Limits._fields}
    return L1._replace(**known, source="the department’s own limits") if known else L1


def findings(sample: Sample, limits: Limits) -> list[str]:
    """Each value of a sample with its limits, in a sentence."""
    return [finding_words(each) for each in weigh_kept(sample.measured, limits)]
