"""A group's terms: under which licence its region reports go out, whether it sells fly products, whom to ask."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms import clock
from farms.access import GroupRole, group_for
from farms.agreement import said_by, terms_of_group, written_terms_of
from farms.clock import local_date
from farms.selectors import advisers_of_group, group_roles_of
from farms.services import NewTerms, say_what_you_sell, set_terms
from server.web.doors import signed_in
from server.web.forms.agreement import SellsForm, TermsForm
from server.web.forms.refusals import accepted

# How the form says what is stored.
YES_NO = {True: "yes", False: "no", None: None}


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def terms(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """Everybody of the group reads them; a coordinator writes them anew; an adviser says what they sell."""
    group = group_for(request.user, group_id)
    given, now = request.POST if request.method == "POST" else None, clock.now()
    if given is not None:
        group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    form = _form(group, given, now)
    if form.is_valid() and accepted(
        form, lambda: set_terms(group=group, terms=NewTerms(**form.cleaned_data), by=request.user, now=now)
    ):
        messages.success(request, _("The group's terms are kept; the older ones stay on record."))
        return redirect("terms", group_id=group_id)
    return render(request, "web/terms.html", _context(request, group, form, now), status=422 if form.errors else 200)


@signed_in
@require_POST
def sells(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """An adviser says of themself whether they sell fly products."""
    group = group_for(request.user, group_id, role=GroupRole.ADVISER)
    form, now = SellsForm(request.POST), clock.now()
    if form.is_valid():
        say_what_you_sell(group=group, **form.cleaned_data, by=request.user, now=now)  # type: ignore[arg-type]
        messages.success(request, _("It is kept, and told to the farms that let you in."))
        return redirect("terms", group_id=group_id)
    context = _context(request, group, _form(group, None, now), now) | {"own_form": form}
    return render(request, "web/terms.html", context, status=422)


def _form(group: Any, given: Any, now: Any) -> TermsForm:
    today = local_date(now, group.time_zone)
    held = terms_of_group(group.id, today)
    initial: dict[str, Any] = {"licence": held.licence.spdx, "contact": held.contact, "valid_from": today}
    initial["sells_products"] = YES_NO[held.sells_products]
    return TermsForm(given, today=today, initial=initial)


def _context(request: HttpRequest, group: Any, form: TermsForm, now: Any) -> dict[str, Any]:
    today = local_date(now, group.time_zone)
    roles = {role.role for role in group_roles_of(request.user) if role.group_id == group.id}
    written = list(written_terms_of(group))
    told: dict[str, Any] = {
        "group": group,
        "terms": terms_of_group(group.id, today),
        "ahead": [row for row in written if row.valid_from > today],
        "older": [row for row in written if row.valid_from <= today],
    }
    if GroupRole.COORDINATOR in roles:
        advisers = list(advisers_of_group(group.id))
        said = said_by(group.id, advisers)
        told |= {"form": form, "advisers": [(user, said.get(user.id)) for user in advisers]}
    if GroupRole.ADVISER in roles:
        own = said_by(group.id, [request.user]).get(request.user.id)  # type: ignore[union-attr]
        told |= {"advises": True, "own": own, "own_form": SellsForm(initial={"sells_products": YES_NO[own]})}
    return told
