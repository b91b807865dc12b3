"""An adviser's Monday lists as they were mailed, each with what became of it."""

from uuid import UUID

from csp.decorators import csp
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_safe

from alerts.selectors.sent_mails import lists_shown
from farms.access import one_of
from server.web.doors import signed_in
from server.web.sent_mails import POLICY, framed, page_of


@signed_in
@require_safe
def sent_lists(request: HttpRequest) -> HttpResponse:
    """Empty for who is no adviser: nobody's lists but one's own are here."""
    page = page_of(request, lists_shown(request.user))  # type: ignore[arg-type]
    return render(request, "web/sent_lists.html", {"page": page})


@signed_in
@require_safe
def sent_list(request: HttpRequest, monday_list_id: UUID) -> HttpResponse:
    mail = one_of(lists_shown(request.user), monday_list_id)  # type: ignore[arg-type]
    return render(request, "web/sent_list.html", {"mail": mail, "zone": mail.group.time_zone})


@signed_in
@require_safe
@xframe_options_sameorigin
@csp(POLICY)
def sent_list_html(request: HttpRequest, monday_list_id: UUID) -> HttpResponse:
    return framed(one_of(lists_shown(request.user), monday_list_id))  # type: ignore[arg-type]
