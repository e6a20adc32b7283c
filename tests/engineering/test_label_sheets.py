"""Where labels lie: arithmetic by hand, and no common sheet that would not fit its paper."""

from __future__ import annotations

import pytest

from readiness.engineering.label_sheets import PRESETS, Spot, spots


def test_a_begun_sheet_goes_on_where_it_was_left():
    # US letter, 3 × 10 labels: the left edges lie at 0.1875, 2.9375 and 5.6875 in, the upper ones at 0.5, 1.5 … 9.5 in.
    found = list(spots(PRESETS["letter-30"], 3, start=29))
    assert [(each.sheet, round(each.x_mm, 4), round(each.y_mm, 4)) for each in found] == [
        (0, 74.6125, 241.3),  # 2.9375 × 25.4, 9.5 × 25.4
        (0, 144.4625, 241.3),  # 5.6875 × 25.4
        (1, 4.7625, 12.7),  # a new sheet: 0.1875 × 25.4, 0.5 × 25.4
    ]


def test_an_a4_sheet():
    # 2 × 4: 4.65 + 101.6 = 106.25; 13.1 + 3 × 67.7 = 216.2
    assert list(spots(PRESETS["a4-8"], 8))[-1] == Spot(0, pytest.approx(106.25), pytest.approx(216.2))


@pytest.mark.parametrize("key", PRESETS)
def test_common_sheets_fit_their_paper(key):
    layout = PRESETS[key]
    assert list(layout.faults()) == []
    assert f"{layout.labels} labels" in layout.name
    wide, high = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}[layout.paper]  # 8.5 × 11 in; ISO 216
    x, y = layout.corners(layout.labels - 1)
    assert x + layout.width_mm <= wide + 0.1
    assert y + layout.height_mm <= high + 0.1


@pytest.mark.parametrize(
    ("change", "fact"),
    [
        ({"pitch_x_mm": 60}, "pitch_x_mm"),
        ({"pitch_y_mm": 30}, "pitch_y_mm"),
        ({"columns": 4}, "columns"),
        ({"rows": 9}, "rows"),
    ],
)
def test_what_cannot_be_printed_is_said(change, fact):
    assert [name for name, _ in PRESETS["a4-24"]._replace(**change).faults()] == [fact]
