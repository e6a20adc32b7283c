"""Search: a label code, a lot, a unit or a shop number leads straight to the thing; several are listed."""

from __future__ import annotations

from typing import NamedTuple
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, path, reverse
from django.views.decorators.http import require_GET

from readiness.models import Assignment, Container, Delivery, Disposal, Lot, Partner, Unit, Vehicle
from readiness.reports.labels import label_named
from readiness.web.access import Here, rows, signed_in

MOST = 50  # of each kind; whoever finds more says more


class Hit(NamedTuple):
    """A thing that was found: what it is, its name, its address, and whether its name is just what was asked."""

    what: str
    name: str
    address: str
    exact: bool


@require_GET
@signed_in
def search(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Straight to the thing when there is one, else the list."""
    asked = " ".join(request.GET.get("q", "").replace("\0", " ").split())[:80]  # no database takes a text with that
    found = hits(here, asked) if asked else []
    label = label_named(here.department, asked) if not found else None
    if label is not None:
        return redirect(reverse("find", query={"code": asked}))
    exact = [hit for hit in found if hit.exact]
    if len(exact) == 1 or len(found) == 1:
        return redirect((exact or found)[0].address)
    return render(request, "search/search.html", {"here": here, "searched_for": asked, "hits": found, "most": MOST})


def hits(here: Here, asked: str) -> list[Hit]:
    """What has these words in its name, exact names first."""
    found = [*_containers(here, asked), *_lots(here, asked), *_units(here, asked), *_vehicles(here, asked)]
    found += [*_papers(here, asked), *_partners(here, asked)]
    return sorted(found, key=lambda hit: not hit.exact)


def _containers(here: Here, asked: str) -> list[Hit]:
    found = rows(Container, here).filter(code__icontains=asked, retired_on__isnull=True).order_by("code")[:MOST]
    return [Hit("container", row.code, reverse("container", args=[row.pk]), _same(row.code, asked)) for row in found]


def _lots(here: Here, asked: str) -> list[Hit]:
    found = rows(Lot, here).filter(batch__icontains=asked).select_related("concentrate").order_by("batch")[:MOST]
    return [Hit("lot", str(row), reverse("lot", args=[row.pk]), _same(row.batch, asked)) for row in found]


def _papers(here: Here, asked: str) -> list[Hit]:
    """Deliveries by order reference, disposals by manifest."""
    orders = rows(Delivery, here).filter(order_reference__icontains=asked).select_related("lot__concentrate")[:MOST]
    found = [
        Hit("delivery", f"order {row.order_reference}, {row.lot}", reverse("delivery", args=[row.pk]), exact=False)
        for row in orders
    ]
    taken = rows(Disposal, here).filter(manifest__icontains=asked)[:MOST]
    return found + [
        Hit("disposal", str(row), reverse("disposal", args=[row.pk]), _same(row.manifest, asked)) for row in taken
    ]


def _partners(here: Here, asked: str) -> list[Hit]:
    """A partner leads to its statement."""
    found = rows(Partner, here).filter(name__icontains=asked)[:MOST]
    return [Hit("partner", row.name, reverse("statement", args=[row.pk]), _same(row.name, asked)) for row in found]


def _units(here: Here, asked: str) -> list[Hit]:
    found = rows(Unit, here).filter(designation__icontains=asked, retired_on__isnull=True)[:MOST]
    return [
        Hit("unit", row.designation, unit_address(row.pk, row.designation), _same(row.designation, asked))
        for row in found
    ]


def _vehicles(here: Here, asked: str) -> list[Hit]:
    """A vehicle leads to the unit that runs on it tonight, else to what stands on it."""
    found = rows(Vehicle, here).filter(shop_no__icontains=asked.removeprefix("vehicle "), retired_on__isnull=True)
    running = rows(Assignment, here).filter(to_at__isnull=True).select_related("unit")
    units = {each.vehicle_id: each.unit for each in running}
    made = []
    for row in found[:MOST]:
        unit = units.get(row.pk)
        name = f"{row}, tonight {unit}" if unit else str(row)
        address = unit_address(unit.pk, unit.designation) if unit else _contents_of(str(row))
        made.append(Hit("vehicle", name, address, _same(row.shop_no, asked.removeprefix("vehicle "))))
    return made


def unit_address(pk: int, designation: str) -> str:
    """The unit's page; where there is none, what it carries."""
    try:
        return reverse("unit", args=[pk])
    except NoReverseMatch:
        return _contents_of(designation)


def _contents_of(words: str) -> str:
    return f"{reverse('containers')}?{urlencode({'q': words})}"


def _same(name: str, asked: str) -> bool:
    return name.casefold() == asked.casefold()


urlpatterns = [path("search/", search, name="search")]
