"""A coordinator's guide: what a new group needs until its first farm counts. Regions are added right here."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.selectors import levels_of_group
from farms import clock
from farms.access import GroupRole, group_for
from farms.agreement import written_terms_of
from farms.clock import local_date
from farms.invitations import farms_begun_in, invitations_of_group
from farms.selectors import advisers_of_group, regions_of
from farms.services import add_region
from server.web.doors import signed_in
from server.web.forms.invitation import RegionForm
from server.web.forms.refusals import accepted


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def group_start(request: HttpRequest, group_id: UUID) -> HttpResponse:
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    form = RegionForm(request.POST or None)
    if form.is_valid() and accepted(form, lambda: add_region(group=group, by=request.user, **form.cleaned_data)):  # type: ignore[arg-type]
        messages.success(request, _("%(name)s is added.") % {"name": form.cleaned_data["name"]})
        return redirect("group_start", group_id=group_id)
    today = local_date(clock.now(), group.time_zone)
    waiting = list(invitations_of_group(group))
    context = {
        "group": group,
        "form": form,
        "regions": regions_of(group),
        "advisers": advisers_of_group(group.id),
        "invited": [each for each in waiting if each.role == "adviser"],
        "levels": levels_of_group(group.id, today),
        "terms": written_terms_of(group).first(),
        "farms": farms_begun_in(group),
        "owners": [each for each in waiting if each.role == "owner"],
    }
    return render(request, "web/group_start.html", context, status=422 if form.errors else 200)
