"""A coordinator's reports as they were mailed, each with what became of it."""

from uuid import UUID

from csp.decorators import csp
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_safe

from alerts.selectors.sent_mails import reports_shown
from farms.access import one_of
from server.web.doors import signed_in
from server.web.sent_mails import POLICY, framed, page_of


@signed_in
@require_safe
def sent_reports(request: HttpRequest) -> HttpResponse:
    """Empty for who is no coordinator: nobody's reports but one's own are here."""
    page = page_of(request, reports_shown(request.user))  # type: ignore[arg-type]
    return render(request, "web/sent_reports.html", {"page": page})


@signed_in
@require_safe
def sent_report(request: HttpRequest, coordinator_report_id: UUID) -> HttpResponse:
    mail = one_of(reports_shown(request.user), coordinator_report_id)  # type: ignore[arg-type]
    return render(request, "web/sent_report.html", {"mail": mail, "zone": mail.group.time_zone})


@signed_in
@require_safe
@xframe_options_sameorigin
@csp(POLICY)
def sent_report_html(request: HttpRequest, coordinator_report_id: UUID) -> HttpResponse:
    return framed(one_of(reports_shown(request.user), coordinator_report_id))  # type: ignore[arg-type]
