"""The frame, figures and marks: every state a word and a shape, every figure its unit, all of it readable."""

from __future__ import annotations

import re
import subprocess
import sys
from datetime import UTC, datetime
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from django.conf import settings as project
from django.template import Context, Template, TemplateSyntaxError
from django.test import Client

from readiness.models import Role
from readiness.models.judging import StatusWord
from readiness.web import figures, marks, navigation

CSS = Path(project.BASE_DIR) / "readiness" / "web" / "static" / "readiness" / "site.css"
TEMPLATES = Path(project.BASE_DIR) / "templates"


def said(source: str, **context: object) -> str:
    return Template(source).render(Context({"units": "us", **context}))


# By hand: 1 gal = 3.785411784 L, 1 ft² = 0.09290304 m², 1 ft = 0.3048 m, 1 psi = 6.894757293 kPa, °F = 1.8 °C + 32.
@pytest.mark.parametrize(
    ("source", "us", "metric"),
    [
        ('{% volume 170343 "down" containers=9 %}', "45.0 gal", "170.3 L"),
        ('{% volume 170344 "up" %}', "45.0 gal", "170.4 L"),  # gives way by its 1 ml: 45.00 gal is 170,343.53 ml
        ('{% volume 170500 "up" %}', "45.1 gal", "170.5 L"),
        ('{% volume 11340600 "down" %}', "2,995.8 gal", "11,340.6 L"),
        ('{% flow 359.614 "nearest" %}', "95 gpm", "360 L/min"),
        ('{% flow 28.39 "nearest" %}', "7.5 gpm", "28 L/min"),
        ('{% area 83.7 "down" %}', "900 ft²", "83 m²"),  # 83.7 ÷ 0.09290304 = 900.94
        ('{% length 45.72 "nearest" %}', "150 ft", "46 m"),
        ('{% pressure 689.4757 "nearest" %}', "100 psi", "689 kPa"),
        ('{% temperature -12.0 "nearest" %}', "10 °F", "-12 °C"),  # −12 × 1.8 + 32 = 10.4
        ('{% volume none "down" %}', "not known", "not known"),
    ],
)
def test_figures_have_their_unit_and_their_direction(source, us, metric):
    assert said(source, none=None) == us
    assert said(source, none=None, units="metric") == metric


@pytest.mark.parametrize(
    ("source", "text"),
    [
        ('{% minutes 7.09 "down" %}', "7.0 min"),
        ("{% percent 300 %} {% percent 50 %}", "3 % 0.5 %"),
        ('{% share 0.999 "down" %} {% share 1.001 "up" %}', "99 % 101 %"),
        ('{% rate low "gpm_ft2" %} {% rate high "lpm_m2" %}', "0.10 gpm/ft² 4.1 L/min/m²"),
    ],
)
def test_figures_that_have_one_unit_only(source, text):
    assert said(source, low=Decimal("0.1000"), high=Decimal("4.1000")) == text


def test_a_figure_without_its_direction_is_an_error_of_the_template():
    with pytest.raises(TemplateSyntaxError):
        said("{% volume 5 %}")


@pytest.mark.parametrize("milliliters", [*range(0, 3_800_000, 37_931), 170_343, 113_562])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_need_never_reads_low_and_usable_never_high(milliliters, units):
    per_unit_ml = Decimal("3785.411784") if units == "us" else Decimal(1000)
    need = figures.rounded(milliliters, "volume", units, "up") * per_unit_ml
    usable = figures.rounded(milliliters, "volume", units, "down", containers=1) * per_unit_ml
    assert need >= milliliters - 1, "but for the one millilitre of tolerance"
    assert usable <= milliliters + 2, "but for one millilitre and one a container"


# Marks


@pytest.mark.parametrize("status", StatusWord)
def test_every_status_has_its_word_its_shape_and_its_color(status):
    drawn = said("{% status key %}", key=status.value)
    assert f"<span>{status.label.lower()}</span>" in drawn
    assert 'aria-hidden="true"' in drawn
    assert re.search(rf"\.{re.search(r'mark (mark-[a-z-]+)', drawn)[1]}\b", CSS.read_text(encoding="utf-8"))


def test_no_two_states_share_a_shape_or_a_word():
    assert len({mark.shape for mark in marks.MARKS.values()}) == len(marks.MARKS)
    assert len({mark.word for mark in marks.MARKS.values()}) == len(marks.MARKS)


def test_accepted_stands_apart_from_the_severities():
    assert "accepted" in marks.MARKS
    assert "accepted" not in StatusWord.values


def test_a_mark_takes_a_longer_word_and_no_markup():
    assert "&lt;b&gt;" in marks.status_mark("not ready", "<b>")


def test_an_unknown_state_is_an_error():
    with pytest.raises(KeyError):
        marks.status_mark("splendid")


@pytest.mark.parametrize(("share", "width"), [(0.634, "63.4"), (1.7, "100.0"), (-1, "0.0")])
def test_a_bar_is_drawn_by_attributes_and_says_its_share_in_words(share, width):
    drawn = marks.bar(share, "63 % of need", "limited")
    assert f'<rect class="bar-fill" width="{width}"' in drawn
    assert 'role="img" aria-label="63 % of need"' in drawn
    assert "style=" not in drawn


# The sheet


def _luminance(color: str) -> float:
    """Relative luminance of sRGB by WCAG 2.2."""
    full = color.lstrip("#")
    full = "".join(letter * 2 for letter in full) if len(full) == 3 else full
    parts = [int(full[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio by WCAG 2.2."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def tokens(part: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{3,6})", part))


SCHEMES = re.split(r"@media \(prefers-color-scheme: dark\)|/\* frame \*/", CSS.read_text(encoding="utf-8"))
LIGHT, DARK = tokens(SCHEMES[0]), tokens(SCHEMES[1])


def test_contrast_is_measured_right():
    assert contrast("#000", "#ffffff") == pytest.approx(21)  # WCAG 2.2: black on white is 21:1
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)  # the well-known grey that just passes


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_words_and_shapes_are_readable_in_both_schemes(scheme):
    words = ("ink", "ink-soft", "accent", "ready", "limited", "unverified", "not-ready", "quiet")
    grounds = ("ground", "surface", "sunken")
    weak = {(word, on) for word in words for on in grounds if contrast(scheme[word], scheme[on]) < 4.5}
    assert weak == set()
    assert contrast(scheme["on-accent"], scheme["accent"]) >= 4.5
    assert all(contrast(scheme["ink"], scheme[on]) >= 4.5 for on in ("fault-ground", "good-ground", "warn-ground"))
    assert all(contrast(scheme[line], scheme[on]) >= 3 for line in ("line-strong", "focus") for on in grounds)


def test_the_sheet_asks_nobody_else_for_anything():
    text = CSS.read_text(encoding="utf-8")
    assert "url(" not in text
    assert "@import" not in text


def test_no_template_has_inline_style_or_script_or_foreign_address():
    for page in TEMPLATES.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        assert not re.search(r"\bstyle\s*=|<style|\bon[a-z]+\s*=\s*[\"']|javascript:", text), page
        assert not re.search(r"<script(?![^>]*\bsrc=)(?![^>]*application/json)", text), page
        assert not re.search(r"(?:src|href|action)=[\"'](?:https?:)?//", text), page


# The frame


@pytest.mark.django_db
def test_the_frame_says_who_where_and_as_of_when(cast, as_role):
    page = as_role(Role.LOGISTICS).get("/account/").content.decode()
    for part in (
        "<strong>Quay County Fire Department</strong>",
        "as of 2026-06-15 06:00",
        "logistics officer",
        '<a class="skip" href="#content">',
        '<main id="content"',
        '<button name="units" value="us" aria-pressed="true">',
        'action="/sign-out/"',
        '<html lang="en-US">',
        "it does not replace them.",
    ):
        assert part in page, part


@pytest.mark.django_db
def test_doors_are_shown_by_role_and_only_where_there_is_a_page(cast, as_role, monkeypatch):
    monkeypatch.setattr(navigation, "address_of", lambda name: None if name == "drills" else f"/{name}/")
    opens, shown = {}, {}
    for role in Role:
        doors = as_role(role).get("/account/").content.decode().split('class="doors"')[1].split("</nav>")[0]
        opens[role], shown[role] = (
            re.findall(r'<li><a href="/\w+/"[^>]*>([^<]+)</a>', part) for part in doors.split("<details")
        )
    assert opens[Role.CREW] == ["My unit", "Fleet", "Deficiencies", "Inspections", "Worksheet"]
    assert shown[Role.CREW] == [
        *("My unit", "Fleet", "Deficiencies", "Inspections", "Stock", "Receiving and moving", "Inventories"),
        *("Worksheet", "Reference"),
    ]
    assert "People" in shown[Role.CHIEF]
    assert "People" not in shown[Role.LOGISTICS]
    assert "Drills" not in opens[Role.INSTRUCTOR] + shown[Role.INSTRUCTOR]


@pytest.mark.django_db
def test_the_page_that_is_open_stands_among_the_doors_at_hand(cast, as_role):
    for address, words in (("/reference/", "Reference"), ("/fleet/", "Fleet")):
        doors = as_role(Role.CREW).get(address).content.decode().split('class="doors"')[1].split("<details")[0]
        assert re.findall(r'aria-current="page">([^<]+)</a>', doors) == [words]
    assert navigation.OPENS.keys() == set(Role)
    assert {name for names in navigation.OPENS.values() for name in names} <= {
        door.url for _, doors in navigation.DOORS for door in doors
    }


def test_a_stranger_sees_no_doors(client, db):
    page = client.get("/sign-in/").content.decode()
    assert 'class="doors"' not in page
    assert "Sign out" not in page


@pytest.mark.django_db
def test_the_frame_asks_the_database_little(cast, as_role, django_assert_num_queries):
    client = as_role(Role.CREW)
    with django_assert_num_queries(3):  # session, person, memberships with their departments
        client.get("/account/")


@pytest.mark.django_db
def test_headings_do_not_skip_a_level(cast, as_role):
    for address in ("/account/", "/people/", "/people/invite/", "/account/password/"):
        page = as_role(Role.CHIEF).get(address).content.decode()
        levels = [int(level) for level in re.findall(r"<h([1-6])", page)]
        assert levels[0] == 1, address
        assert all(after - before <= 1 for before, after in pairwise(levels)), address


@pytest.mark.django_db
def test_a_moment_has_its_age(cast, rf):
    at = datetime(2026, 6, 14, 2, 30, tzinfo=UTC)
    client = Client()
    client.force_login(cast.people[Role.CREW])
    request = client.get("/account/").wsgi_request
    frame = navigation.frame(request)
    # 27 h 30 min before 06:00 on the 15th is one whole day ago.
    assert said("{% moment at %}", at=at, **frame).endswith(
        '2026-06-14 02:30</time> <span class="age">(1 d ago)</span>'
    )
    assert said("{% moment at %}", at=None, **frame) == "never"


# Collected files


def test_collected_files_have_names_that_change_with_them(tmp_path):
    code = (
        "import sys, pathlib, django; from django.conf import settings; sys.argv = ['manage.py', 'collectstatic'];\n"
        "import readiness.settings as s; s.STATIC_ROOT = pathlib.Path(sys.stdin.read());\n"
        "django.setup(); from django.core.management import call_command;\n"
        "call_command('collectstatic', interactive=False, verbosity=0);\n"
        "from django.templatetags.static import static; print(static('readiness/site.css'));\n"
        "print(sorted(p.suffix for p in (s.STATIC_ROOT / 'readiness').glob('site.*.css*')))"
    )
    environment = {"DJANGO_SETTINGS_MODULE": "readiness.settings"}
    done = subprocess.run(
        [sys.executable, "-c", code], input=str(tmp_path), env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    address, packed = done.stdout.splitlines()
    assert re.fullmatch(r"/static/readiness/site\.[0-9a-f]{12}\.css", address)
    assert packed == "['.br', '.css', '.gz']"
