"""A sheet that somebody kept for years, handed over: sent, laid out, settled, tried, taken in whole, and reported."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from threading import Thread
from typing import Any, Final, NamedTuple
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db import connections
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions import handed_over as actions
from readiness.actions.drafts import Refused
from readiness.actions.progress import told
from readiness.models import Container, HandedOver
from readiness.models.handed_over import SheetState
from readiness.reports import handed_over as reports
from readiness.reports.handed_over import Worked
from readiness.reports.sheet_questions import Bundle, bundled
from readiness.web import access
from readiness.web.access import Here, get, may, rows
from readiness.web.forms import Form
from readiness.web.moments import moment_text
from readiness.web.sheet_questions import headings, posted_answers
from readiness.web.tables import (
    Column,
    MomentColumn,
    NumberColumn,
    QuantityColumn,
    RecordFilter,
    Table,
    list_page,
)
from readiness.web.workbooks import FaultTable, going
from readiness.workbooks.guard import MOST_BYTES, NotAWorkbook
from readiness.workbooks.handed_over.layouts import from_json
from readiness.workbooks.handed_over.records import Guess, Layout, Meaning, SheetRows

MOST_AT_ONCE: Final = 300  # rows that are tried or taken in while the browser waits; more are done beside
QUESTIONS_A_PAGE: Final = 20
_SAMPLES: Final = 4  # cells of a column that are shown where it is mapped
_STALE = timedelta(minutes=10)  # after which work that says nothing may be given up
_LOG = logging.getLogger(__name__)

MEANINGS: Mapping[Meaning, str] = {
    Meaning.STATION: "station",
    Meaning.WHERE: "unit or store room",
    Meaning.PRODUCT: "concentrate by name",
    Meaning.KIND: "kind of concentrate",
    Meaning.PERCENT: "percentage",
    Meaning.CONTAINER: "sort of container",
    Meaning.QUANTITY: "how many containers",
    Meaning.SIZE: "size of one container",
    Meaning.VOLUME: "volume of the row",
    Meaning.LOT: "lot number",
    Meaning.MADE: "day of manufacture",
    Meaning.GOOD_THROUGH: "good through",
    Meaning.CODE: "label code",
    Meaning.NOTES: "remarks",
    Meaning.IGNORED: "not taken in",
}
UNITS: tuple[tuple[str, str], ...] = (
    ("gal", "US gallons"),
    ("imp gal", "imperial gallons"),
    ("L", "liters"),
    ("qt", "US quarts"),
)
DAYS: tuple[tuple[str, str], ...] = (
    ("", "asked where it is not plain"),
    ("month", "month first: 3/4/26 is March 4"),
    ("day", "day first: 3/4/26 is 3 April"),
)


# -- what there is, and sending one ------------------------------------------------------------------------------------


class SendForm(Form):
    """One sheet."""

    file = forms.FileField(
        label="Your sheet (.xlsx or .csv)",
        widget=forms.FileInput({"accept": ".xlsx,.csv,.txt,.tsv"}),
        help_text=f"As it is, at most {MOST_BYTES // 1_000_000} MB. Nothing comes into the book before you have seen "
        "every row as it would be understood.",
        error_messages={
            "required": "No file was read: choose the sheet.",
            "empty": "An empty file was read: choose the sheet.",
        },
    )
    another = forms.BooleanField(
        label="It is another sheet of a file that was taken in before", required=False, initial=False
    )


class SheetTable(Table):
    """Every sheet that was handed over."""

    caption = "Sheets handed over"
    name = Column(verbose_name="File")
    state = Column()
    sent_at = MomentColumn(verbose_name="Sent")
    sent_by = Column(verbose_name="By", default="")
    ended_at = MomentColumn(verbose_name="Finished", default="")
    containers = NumberColumn(verbose_name="Containers taken in")

    class Meta:
        order_by = "-sent_at"

    def render_name(self, record: HandedOver) -> SafeString:
        """The way to it."""
        return format_html('<a href="{}">{}</a>', reverse("sheet", args=[record.pk]), record.name)


@require_http_methods(["GET", "POST"])
@may("workbook")
def sheets(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Those that were begun and those that are done; and a form to send another."""
    form = SendForm(request.POST, request.FILES, here=here) if request.method == "POST" else SendForm(here=here)
    if request.method == "POST" and form.is_valid():
        sent = form.cleaned_data["file"]
        try:
            draft = actions.send_sheet(
                here.department,
                sent.read(),
                name=sent.name,
                acting=here.acting,
                clock=access.CLOCK,
                another=form.cleaned_data["another"],
            )
        except actions.KnownAlready as known:
            messages.info(request, str(known))
            return redirect("sheet_report", pk=known.handed_over.pk)
        except (NotAWorkbook, Refused) as refused:
            form.refuse(refused, "file")
        else:
            return redirect("sheet", pk=draft.pk)
    found = rows(HandedOver, here).defer("file").select_related("sent_by")
    context = {"form": form}
    return list_page(request, here, SheetTable, found, template="sheet/list.html", context=context)


def draft_of(here: Here, pk: int) -> HandedOver:
    """The department's sheet of this number."""
    return get(HandedOver.objects.defer("file"), here, pk=pk)


# -- where it stands ---------------------------------------------------------------------------------------------------


@require_GET
@may("workbook")
def sheet(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Where it stands, and what comes next."""
    draft = draft_of(here, pk)
    if draft.ended_at:
        return redirect("sheet_report", pk=pk)
    if draft.state == SheetState.WORKING:
        return at_work(request, here, draft)
    if not draft.layout:
        return redirect("sheet_columns", pk=pk)
    work = reports.worked(draft, here.department, here.today)
    shown = reports.rows_shown(work, here.units)
    tried = actions.tried_now(draft)
    faults = actions.faults_kept(tried)
    context = {
        "here": here,
        "draft": draft,
        "work": work,
        "tally": reports.tally(shown),
        "rows": len(shown),
        "tried": tried,
        "faults": FaultTable(faults, here=here) if faults else None,
        "tried_at": moment_text(here.department, datetime.fromisoformat(tried["at"])) if tried else "",
        "going": going_of(tried),
        "comparing": work.purpose == reports.COMPARE,
        "in_book": rows(Container, here).filter(retired_on__isnull=True).count(),
        "failed": draft.working.get("failed", ""),
    }
    return render(request, "sheet/sheet.html", context)


def going_of(tried: Mapping[str, Any]) -> list[Any]:
    """What would go in, by sheet of the department's workbook."""
    return going(tried["counts"]) if tried.get("counts") and not tried["faults"] else []


def at_work(request: HttpRequest, here: Here, draft: HandedOver) -> HttpResponseBase:
    """How far it is; the page asks again by itself."""
    since = datetime.fromisoformat(draft.working["since"])
    progress = told(actions.progress_name(draft))
    context = {
        "here": here,
        "draft": draft,
        "step": draft.working.get("step", ""),
        "progress": progress,
        "since": moment_text(here.department, since),
        "seconds": int((here.now - since).total_seconds()),
        "stale": here.now - since > _STALE,
        "still": "still" in request.GET,  # for who reads slower than the page renews itself
    }
    return render(request, "sheet/at_work.html", context)


# -- columns -----------------------------------------------------------------------------------------------------------


class ColumnShown(NamedTuple):
    """A column of their sheet where it is mapped."""

    field: str
    letter: str
    heading: str
    samples: tuple[str, ...]
    meaning: str
    why: str
    sure: bool


@require_http_methods(["GET", "POST"])
@may("workbook")
def columns(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Which sheet, which row of headings, and what each column tells."""
    draft = draft_of(here, pk)
    if draft.state != SheetState.DRAFT:
        return redirect("sheet", pk=pk)
    asked = request.POST if request.method == "POST" else request.GET
    guess, wrong = _guess(draft, here, asked)
    chosen = reports.opened(draft).sheet(guess.layout.sheet)
    layout, why = _proposed(draft, here, guess, chosen)
    if request.method == "POST" and not wrong:
        layout = _posted_layout(request.POST, layout)
        try:
            actions.choose_layout(here.department, draft, layout, acting=here.acting, clock=access.CLOCK)
        except Refused as refused:
            wrong = str(refused)
        else:
            return redirect("sheet", pk=pk)
    book = reports.opened(draft)
    context = {
        "here": here,
        "draft": draft,
        "book": book,
        "chosen": chosen,
        "layout": layout,
        "guess": guess,
        "why": why,
        "wrong": wrong,
        "columns": _columns_shown(guess, layout, chosen),
        "meanings": [(str(meaning), words) for meaning, words in MEANINGS.items()],
        "volume_units": UNITS,
        "days": DAYS,
        "day": {True: "day", False: "month", None: ""}[layout.day_first],
    }
    return render(request, "sheet/columns.html", context)


def _guess(draft: HandedOver, here: Here, asked: Mapping[str, Any]) -> tuple[Guess, str]:
    """The guess for the sheet and the row of headings that were asked for, and what was wrong with the question."""
    known = reports.layout_of(draft)
    title = str(asked.get("sheet") or (known.sheet if known else ""))
    said = str(asked.get("header") or "")
    wrong = ""
    if title and title not in {each.title for each in reports.opened(draft).sheets}:
        title, said, wrong = "", "", f"“{title[:60]}” was read: the file has no sheet of this title."
    header = int(said) if said.isdecimal() and len(said) < 8 else None
    if header is None and known and known.sheet == title:
        header = known.header_row
    if said and not said.isdecimal():
        wrong = f"“{said[:20]}” was read: a row number belongs here, 0 where the sheet has no headings."
    try:
        return reports.guessed(draft, here.department, title, header), wrong
    except ValueError as refused:
        return reports.guessed(draft, here.department, title), str(refused)


def _proposed(draft: HandedOver, here: Here, guess: Guess, chosen: SheetRows) -> tuple[Layout, str]:
    """What was chosen for this draft, else what was chosen last for such a sheet, else the guess; and which it is."""
    own = reports.layout_of(draft)
    if own and (own.sheet, own.header_row) == (guess.layout.sheet, guess.layout.header_row):
        return own, "chosen"
    known = actions.remembered_layout(here.department, chosen, guess.layout.header_row)
    return (known, "remembered") if known else (guess.layout, "guessed")


def _posted_layout(posted: Mapping[str, Any], layout: Layout) -> Layout:
    """The layout as it was chosen in the page; what is no choice stays as proposed and is refused by the action."""
    known = {str(meaning): meaning for meaning in Meaning}
    meanings = tuple(
        known.get(str(posted.get(f"c{number}")), meaning) for number, meaning in enumerate(layout.meanings)
    )
    unit = str(posted.get("unit", layout.volume_unit))
    days: dict[str, bool | None] = {"day": True, "month": False, "": None}
    return layout._replace(
        meanings=meanings,
        volume_unit=unit if unit in dict(UNITS) else layout.volume_unit,
        day_first=days.get(str(posted.get("days", "")), layout.day_first),
    )


def _columns_shown(guess: Guess, layout: Layout, chosen: SheetRows) -> list[ColumnShown]:
    below = [row for row in chosen.rows if row.number > layout.header_row]
    return [
        ColumnShown(
            field=f"c{each.column}",
            letter=each.letter,
            heading=each.heading,
            samples=tuple(_samples(below, each.column)),
            meaning=str(layout.meanings[each.column]) if each.column < len(layout.meanings) else str(Meaning.IGNORED),
            why=each.why,
            sure=each.sure,
        )
        for each in guess.columns
    ]


def _samples(below: Sequence[Any], column: int) -> Iterable[str]:
    cells = (row.cell(column) for row in below)
    texts = dict.fromkeys(cell.text for cell in cells if cell and cell.text.strip())
    return list(texts)[:_SAMPLES]


# -- rows --------------------------------------------------------------------------------------------------------------


class RowTable(Table):
    """Every filled row of the sheet, and how it is understood."""

    caption = "Rows as they are understood"
    number = NumberColumn(verbose_name="Row")
    state = Column(verbose_name="What becomes of it")
    fate = Column(verbose_name="Taken for")
    said = Column(verbose_name="As it stands", orderable=False)
    became = Column(verbose_name="As it is understood", orderable=False)
    left = Column(verbose_name="Kept in the report only", orderable=False, default="")
    containers = NumberColumn()
    ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Volume")


class RowFilter(RecordFilter):
    """By what becomes of it, what it is taken for, and words."""

    search = ("said", "became", "left")
    choices = {"state": "What becomes of it", "fate": "Taken for"}


@require_GET
@may("workbook")
def understood_rows(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The list of them."""
    draft = draft_of(here, pk)
    if draft.state != SheetState.DRAFT or not draft.layout:
        return redirect("sheet", pk=pk)
    work = reports.worked(draft, here.department, here.today)
    shown = reports.rows_shown(work, here.units)
    context = {"draft": draft, "open": len(work.open)}
    return list_page(
        request, here, RowTable, shown, template="sheet/rows.html", filter_class=RowFilter, context=context
    )


# -- questions ---------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@may("workbook")
def questions(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """What has to be answered, alike rows together; answers are kept as they are given."""
    draft = draft_of(here, pk)
    if draft.state != SheetState.DRAFT or not draft.layout:
        return redirect("sheet", pk=pk)
    apart = request.GET.getlist("apart")
    work = reports.worked(draft, here.department, here.today, apart=apart)
    if request.method == "POST":
        return _answered(request, here, draft, work)
    every = request.GET.get("show") == "all"
    wrong_first = sorted(work.questions if every else work.open, key=lambda each: not each.wrong)
    single = request.GET.getlist("single")
    listed = Paginator(list(wrong_first) if every else bundled(wrong_first, frozenset(single)), QUESTIONS_A_PAGE)
    page = listed.get_page(request.GET.get("page"))
    asked = [question for each in page for question in (each.questions if isinstance(each, Bundle) else [each])]
    context = {
        "here": here,
        "draft": draft,
        "work": work,
        "page": page,
        "items": listed.count,
        "every": every,
        "apart": urlencode([*(("apart", group) for group in apart), *(("single", group) for group in single)]),
        "headings": headings(page, work),
        "asked": asked,
        "proposals": sum(1 for each in asked if each.proposed and not each.settled),
    }
    return render(request, "sheet/questions.html", context)


def _answered(request: HttpRequest, here: Here, draft: HandedOver, work: Worked) -> HttpResponseBase:
    if "forget" in request.POST:
        answers = dict.fromkeys(draft.answers, "")
    else:
        answers = posted_answers(request.POST, work.questions)
    try:
        actions.answer_questions(here.department, draft, answers, acting=here.acting)
    except Refused as refused:
        messages.error(request, str(refused))
    draft.refresh_from_db()
    left = len(reports.worked(draft, here.department, here.today).open)
    if not left:
        messages.success(request, "Everything is answered.")
        return redirect("sheet", pk=draft.pk)
    messages.info(request, f"Kept. {left} {'question is' if left == 1 else 'questions are'} left.")
    return redirect(f"{reverse('sheet_questions', args=[draft.pk])}{_same_way(request)}")


def _same_way(request: HttpRequest) -> str:
    """What was asked about one by one stays so on the next page."""
    apart = [(name, group) for name in ("apart", "single") for group in request.GET.getlist(name)]
    return f"?{urlencode(apart)}" if apart else ""


# -- trying, taking in, comparing --------------------------------------------------------------------------------------


def _put_to_work(what: str) -> Callable[..., HttpResponseBase]:
    @require_POST
    @may("workbook")
    def view(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
        draft = draft_of(here, pk)
        try:
            actions.begin_work(here.department, draft, what, acting=here.acting, clock=access.CLOCK)
        except Refused as refused:
            messages.error(request, str(refused))
            return redirect("sheet", pk=pk)
        if _filled(draft) <= MOST_AT_ONCE:
            actions.do_work(here.department, draft, acting=here.acting, clock=access.CLOCK)
        else:
            Thread(target=_beside, args=(here, draft), name=f"sheet {pk}").start()
        return redirect("sheet", pk=pk)

    return view


def _filled(draft: HandedOver) -> int:
    return len(reports.opened(draft).sheet(from_json(draft.layout).sheet).rows)


def _beside(here: Here, draft: HandedOver) -> None:
    """Work that takes longer than a browser should wait, in a thread with connections of its own."""
    try:
        actions.do_work(here.department, draft, acting=here.acting, clock=access.CLOCK)
    except Exception:
        _LOG.exception("work on a handed-over sheet broke off")
    finally:
        connections.close_all()


@require_POST
@may("workbook")
def give_up(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Work that says nothing any more, because the server was stopped, is given up."""
    draft = draft_of(here, pk)
    since = draft.working.get("since", "")
    if draft.state == SheetState.WORKING and here.now - datetime.fromisoformat(since) > _STALE:
        actions.give_up_work(here.department, draft, acting=here.acting)
    return redirect("sheet", pk=pk)


@require_POST
@may("workbook")
def discard(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Throw a draft away."""
    try:
        actions.discard_sheet(here.department, draft_of(here, pk), acting=here.acting)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("sheet", pk=pk)
    messages.success(request, "The sheet is discarded; nothing of it was in the book.")
    return redirect("sheets")


urlpatterns = [
    path("sheet/", sheets, name="sheets"),
    path("sheet/<int:pk>/", sheet, name="sheet"),
    path("sheet/<int:pk>/columns/", columns, name="sheet_columns"),
    path("sheet/<int:pk>/rows/", understood_rows, name="sheet_rows"),
    path("sheet/<int:pk>/questions/", questions, name="sheet_questions"),
    path("sheet/<int:pk>/try/", _put_to_work(actions.TRYING), name="sheet_try"),
    path("sheet/<int:pk>/take/", _put_to_work(actions.TAKING), name="sheet_take"),
    path("sheet/<int:pk>/compare/", _put_to_work(actions.COMPARING), name="sheet_compare"),
    path("sheet/<int:pk>/give-up/", give_up, name="sheet_give_up"),
    path("sheet/<int:pk>/discard/", discard, name="sheet_discard"),
]
