"""Label codes in runs: nothing that is not there may be read into them."""

from __future__ import annotations

import pytest

from readiness.reports.code_runs import code_runs


@pytest.mark.parametrize(
    ("codes", "said"),
    [
        ([], ""),
        (["P-0101"], "P-0101"),
        (["P-0102", "P-0101"], "P-0101, P-0102"),
        (["P-0101", "P-0102", "P-0103"], "P-0101 to P-0103"),
        (["P-0101", "P-0102", "P-0103", "P-0105"], "P-0101 to P-0103, P-0105"),  # 0104 is not among them
        (["P-9", "P-10", "P-11"], "P-10, P-11, P-9"),  # figures of another length are no run
        (["A-1", "A-2", "A-3", "B-4"], "A-1 to A-3, B-4"),
        (["tank A", "tank B"], "tank A, tank B"),
    ],
)
def test_runs(codes, said):
    assert code_runs(codes) == said
