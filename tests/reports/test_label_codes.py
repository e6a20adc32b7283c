"""Label codes in the department's own style: the next after the highest, none that was ever given."""

from __future__ import annotations

import pytest

from readiness.reports.label_codes import next_codes
from tests.cast import D0, ContainerFactory

pytestmark = pytest.mark.django_db


def test_the_next_after_the_highest_of_the_kinds_own_style(cast):
    for code in ("P-0101", "P-0107", "P-0099", "X-9000"):
        cast.pail(code=code)
    cast.tank(code="T-500")
    assert next_codes(cast.department, "pail", 3) == ("P-0108", "P-0109", "P-0110")
    assert next_codes(cast.department, "fixed tank", 1) == ("T-501",)


def test_a_retired_containers_code_is_not_given_again(cast):
    cast.pail(code="P-1")
    cast.pail(code="p-9", retired_on=D0)
    assert next_codes(cast.department, "pail", 1) == ("P-10",)


def test_a_kind_that_there_is_none_of(cast):
    assert next_codes(cast.department, "drum", 2) == ("D-0001", "D-0002")


def test_another_departments_codes_have_no_part_in_it(cast):
    ContainerFactory(department=cast.other_department, code="P-7777")
    assert next_codes(cast.department, "pail", 1) == ("P-0001",)
