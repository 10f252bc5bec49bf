"""Old records by page: upload, match the columns, look at every row, import all or nothing, undo.

All of it is the owner's: an import makes and changes customers and instruments by the hundred, an export
carries every customer's address, and undoing takes facts off the record, which nobody else here can do.
"""

import logging
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from measurements.forecast import refreshing
from measurements.models import ImportRun, Outlook
from measurements.old_records.archive import LIMIT_BYTES
from measurements.old_records.export import ExportError, as_archive, as_workbook
from measurements.old_records.findings import Report
from measurements.old_records.forms import MatchForm, UploadForm
from measurements.old_records.matching import headings, matched
from measurements.old_records.planning import import_source
from measurements.old_records.rows import FIRST_LINE
from measurements.old_records.source import Source, read_source
from measurements.old_records.spool import ROWS_A_PAGE, Kept, keep, kept_file
from measurements.old_records.table import TableError
from measurements.old_records.undo import plan_undo, undo_import, undone_before
from measurements.old_records.workbook import LIMIT_COLUMNS, LIMIT_ROWS
from shop.access import note_access_to_all
from shop.figures import counted
from shop.people import person, unit_of
from shop.roles import owner_only
from shop.views import form_view

log = logging.getLogger(__name__)
SESSION = "imports"
KEPT_AT_ONCE = 5
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@form_view
@owner_only
def imports(request: HttpRequest) -> HttpResponse:
    """The way in and out: choose a file, export everything, see what was imported before."""
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm()
    if form.is_valid():
        try:
            return _uploaded(request, form)
        except TableError as error:
            form.add_error("file", str(error))
    runs = ImportRun.objects.select_related("imported_by", "undone_by")
    page = Paginator(runs, 20).get_page(request.GET.get("page"))
    context = {"form": form, "page": page}
    status = 422 if form.is_bound else 200
    return render(request, "measurements/old_records/imports.html", context, status=status)


def _uploaded(request: HttpRequest, form: UploadForm) -> HttpResponse:
    file = form.cleaned_data["file"]
    data, name = file.read(LIMIT_BYTES + 1), file.name[:200]
    source = read_source(data, name)
    _check_size(source)
    kept = keep(data, name, person(request).pk)
    tokens = [*request.session.get(SESSION, []), kept.token.hex]
    request.session[SESSION] = tokens[-KEPT_AT_ONCE:]
    if not source.is_shop:
        return redirect("import-match", token=kept.token)
    kept.is_shop = True
    kept.save()
    try:
        _keep_preview(request, kept, source)
    except TableError:
        kept.forget()
        raise
    return redirect("import-preview", token=kept.token)


def _check_size(source: Source) -> None:
    table = source.table
    if table is not None and len(table.rows) > LIMIT_ROWS:
        raise TableError(
            _("The file has more than %(most)s rows. Split it into several files.")
            % {"most": counted(LIMIT_ROWS)}
        )
    if table is not None and len(table.header) > LIMIT_COLUMNS:
        raise TableError(
            _("The file has %(count)s columns; at most %(most)s are read.")
            % {"count": len(table.header), "most": LIMIT_COLUMNS}
        )


def _kept(request: HttpRequest, token: UUID) -> Kept | None:
    """This session's file, or None with a word about it."""
    kept = kept_file(token, person(request).pk, request.session.get(SESSION, []))
    if kept is None:
        messages.error(request, _("That file is no longer kept here. Choose it again."))
    return kept


@form_view
@owner_only
def match(request: HttpRequest, token: UUID) -> HttpResponse:
    """Which column each heading means; the guesses are preset."""
    kept = _kept(request, token)
    if kept is None or kept.is_shop:
        return redirect("imports")
    posted = request.method == "POST"
    wanted = (request.POST if posted else request.GET).get("sheet", kept.chosen.get("sheet", ""))
    try:
        source = read_source(kept.data(), kept.file_name, wanted)
        _check_size(source)
    except TableError as error:
        messages.error(request, str(error))
        return redirect("import-match", token=token) if wanted else redirect("imports")
    if source.table is None:
        return redirect("imports")
    form = MatchForm(
        request.POST if posted else None,
        headings=headings(source.table),
        initial={"unit": unit_of(request), "day_order": "iso"} | _chosen(kept, source),
    )
    if form.is_valid():
        kept.chosen = {
            "sheet": source.sheet,
            "columns": {str(place): key for place, key in form.chosen().items()},
            "unit": form.cleaned_data["unit"],
            "day_order": form.cleaned_data["day_order"],
        }
        try:
            _keep_preview(request, kept, source)
        except TableError as error:
            lines = str(error).splitlines()
            form.add_error(None, [line.removeprefix(_(FIRST_LINE) % {"why": ""}) for line in lines])
        else:
            kept.save()
            return redirect("import-preview", token=token)
    context = {
        "form": form,
        "kept": kept,
        "source": source,
        "several_sheets": len(source.sheets) > 1,
        "row_count": len(source.table.rows),
    }
    status = 422 if form.is_bound else 200
    return render(request, "measurements/old_records/match.html", context, status=status)


def _chosen(kept: Kept, source: Source) -> dict[str, str]:
    """What was chosen before, when somebody comes back to the step."""
    if kept.chosen.get("sheet", source.sheet) != source.sheet or not kept.chosen:
        return {}
    columns = {f"column-{place}": key for place, key in kept.chosen["columns"].items()}
    return {**columns, "unit": kept.chosen["unit"], "day_order": kept.chosen["day_order"]}


def _ready(kept: Kept, source: Source) -> tuple[Source, dict[str, str]]:
    """The file under our own column names, and what the file itself calls them."""
    if source.table is None:
        return source, {}
    columns = {int(place): key for place, key in kept.chosen["columns"].items()}
    table = matched(source.table, columns, kept.chosen["unit"], kept.chosen["day_order"])
    own = [source.table.header[place] for place, key in columns.items() if key]
    labels = dict(zip(table.header, own, strict=True))
    source.table = table
    return source, labels


def _keep_preview(request: HttpRequest, kept: Kept, source: Source) -> None:
    source, labels = _ready(kept, source)
    report = import_source(source, by=person(request), dry_run=True)
    kept.keep_preview(report, labels)


@form_view
@owner_only
def preview(request: HttpRequest, token: UUID) -> HttpResponse:
    """Every row and what would become of it; POST imports them all, or none."""
    kept = _kept(request, token)
    if kept is None:
        return redirect("imports")
    totals = kept.totals()
    if totals is None:
        return redirect("import-match", token=token)
    status = 200
    if request.method == "POST":
        try:
            report = _import(request, kept)
        except FileNotFoundError:  # sent twice: the other one has just done it
            messages.warning(request, _("That file was imported or dropped just now: see below."))
            return redirect("imports")
        if report is not None and report.written:
            return _done(request, kept, report)
        messages.error(request, _("Nothing was imported: see what is wrong below."))
        totals, status = kept.totals() or totals, 422
    pages = Paginator(range(totals["read"]), ROWS_A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    context = {
        "kept": kept,
        "totals": totals,
        "page": page,
        "rows": _shown(kept.rows(page.number), totals["labels"]),
        "number": totals["read"] - totals["already"],
    }
    return render(request, "measurements/old_records/preview.html", context, status=status)


def _shown(rows: list[Any], labels: dict[str, str]) -> list[Any]:
    """Rows as the page prints them: under the file's own headings, wrong cells marked."""
    for row in rows:
        wrong = {column for column, _why in row.problems}
        row.cells = [(labels.get(name, name), text, name in wrong) for name, text in row.cells]
        row.problems = [(labels.get(column, column), why) for column, why in row.problems]
        row.warnings = [(labels.get(column, column), why) for column, why in row.warnings]
    return rows


def _import(request: HttpRequest, kept: Kept) -> Report | None:
    """Import in one transaction; where that is not possible now, the preview is made anew."""
    sheet = kept.chosen.get("sheet", "")
    try:
        source, labels = _ready(kept, read_source(kept.data(), kept.file_name, sheet))
        report = import_source(source, by=person(request))
        if not report.written:
            kept.keep_preview(report, labels)
    except TableError as error:
        messages.error(request, str(error))
        return None
    return report


def _done(request: HttpRequest, kept: Kept, report: Report) -> HttpResponse:
    kept.forget()
    request.session[SESSION] = [
        token for token in request.session.get(SESSION, []) if token != kept.token.hex
    ]
    if report.run is None:
        messages.success(request, _("Every row was on record already: nothing was added."))
        return redirect("imports")
    messages.success(request, _("%(file)s is imported.") % {"file": report.run.file_name})
    _refresh(request, report.touched)
    return redirect("import-run", uuid=report.run.uuid)


def _refresh(request: HttpRequest, touched: list[int]) -> None:
    """The facts are saved; their outlooks follow, at once where they are not too many."""
    try:
        if len(touched) <= refreshing.CHUNK:
            refreshing.refresh(touched)
            return
    except Exception:
        log.exception("outlooks not refreshed after an import")
    Outlook.objects.filter(instrument__in=touched[: refreshing.CHUNK]).update(out_of_date=True)
    messages.warning(
        request,
        _(
            "The records are saved; run manage.py recompute_outlooks for them to reach every outlook."
        ),
    )


@require_GET
@owner_only
def run(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One import: who, when, what it made."""
    found = get_object_or_404(
        ImportRun.objects.select_related("imported_by", "undone_by"), uuid=uuid
    )
    return render(request, "measurements/old_records/run.html", {"run": found})


@form_view
@owner_only
def undo(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Say exactly what would go; POST undoes the import."""
    found = get_object_or_404(ImportRun, uuid=uuid)
    if found.undone_at is not None:
        messages.error(request, undone_before(found))
        return redirect("import-run", uuid=uuid)
    status = 200
    if request.method == "POST":
        try:
            remaining = undo_import(found, by=person(request))
        except ValidationError as error:
            messages.error(request, _("Nothing was undone. %(why)s") % {"why": error.messages[0]})
            status = 422
        else:
            messages.success(
                request, _("The import of %(file)s is undone.") % {"file": found.file_name}
            )
            _refresh(request, remaining)
            return redirect("imports")
    plan = plan_undo(found)
    numbers = {
        name: len(getattr(plan, name))
        for name in ("blocks", "instruments", "customers", "restored")
    }
    context = {"run": found, "plan": plan, "numbers": numbers}
    return render(request, "measurements/old_records/undo.html", context, status=status)


@require_GET
@owner_only
def export(request: HttpRequest, kind: str) -> Any:
    """The whole shop as XLSX, or as a ZIP of CSV files."""
    name = f"shop-{timezone.localdate()}"
    note_access_to_all(request)
    response: StreamingHttpResponse | FileResponse
    if kind == "csv":
        response = StreamingHttpResponse(as_archive(), content_type="application/zip")
        response["Content-Disposition"] = f'attachment; filename="{name}.zip"'
    elif kind == "xlsx":
        try:
            file = as_workbook()
        except ExportError as error:
            messages.error(request, str(error))
            return redirect("imports")
        response = FileResponse(
            file, as_attachment=True, filename=f"{name}.xlsx", content_type=WORKBOOK
        )
    else:
        raise Http404(_("There is no export as %(kind)s.") % {"kind": kind})
    response["Cache-Control"] = "no-store"
    return response
