"""`audit FILE` writes the workbook of a department and never over a file that is there."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command
from openpyxl import load_workbook

from tests.web.entering import stocked

pytestmark = pytest.mark.django_db


def run(*arguments):
    out = io.StringIO()
    call_command("audit", *map(str, arguments), stdout=out)
    return out.getvalue()


def test_it_writes_and_says_what(cast, tmp_path):
    stocked(cast, "P1")
    file = tmp_path / "audit.xlsx"
    said = run(file, "--department", cast.department.name, "--units", "metric")
    assert "Containers: 1 row\n" in said
    assert "Movements: 4 rows\n" in said  # out of the supplier, into the pail, set aside for it, put in the store
    assert load_workbook(file)["Containers"]["G1"].value == "Contents [L]"
    with pytest.raises(CommandError, match="is there already; name another file"):
        run(file, "--department", cast.department.name)


def test_a_folder_that_is_not_there(cast, tmp_path):
    with pytest.raises(CommandError, match="could not be written: No such file or directory"):
        run(tmp_path / "nowhere" / "audit.xlsx", "--department", cast.department.name)
