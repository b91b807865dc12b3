"""The group's rules: which are on, by which numbers, since when and why. Its coordinator changes them."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.rules import NUMBERS, GroupRules
from alerts.selectors import rules_of_group
from alerts.services import NewRule, set_group_rule
from farms import clock
from farms.access import GroupRole, group_for
from farms.clock import local_date
from farms.selectors import group_roles_of
from server.web.doors import signed_in
from server.web.forms.alert import RULE_NAMES, RuleForm
from server.web.forms.refusals import accepted


@signed_in
@require_http_methods(["GET", "HEAD"])
def rules(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """Everybody of the group may read them."""
    found = group_for(request.user, group_id)
    today = local_date(clock.now(), found.time_zone)
    roles = {role.role for role in group_roles_of(request.user) if role.group_id == group_id}
    applied = rules_of_group(group_id, today)
    context = {
        "group": found,
        "rows": [_row(rule, applied) for rule in NUMBERS],
        "coordinates": GroupRole.COORDINATOR in roles,
    }
    return render(request, "web/rules.html", context)


def _row(rule: str, applied: GroupRules) -> dict[str, Any]:
    """One rule: its name, how it works today, and each of its numbers with its meaning."""
    numbers = [(known, applied.number(rule, name)) for name, known in NUMBERS[rule].items()]
    return {"rule": rule, "name": RULE_NAMES[rule], "setting": applied.of(rule), "numbers": numbers}


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def rule(request: HttpRequest, group_id: UUID, rule: str) -> HttpResponse:
    """One rule, to change it: for the group's coordinators."""
    found = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    if rule not in NUMBERS:
        raise Http404
    now = clock.now()
    today = local_date(now, found.time_zone)
    setting = rules_of_group(group_id, today).of(rule)
    form = RuleForm(request.POST or None, setting=setting, initial={"valid_from": today})
    if form.is_valid():
        typed = form.cleaned_data
        new = NewRule(rule, typed["is_on"] == "on", typed["reason"], typed["valid_from"], form.numbers(rule))
        if accepted(form, lambda: set_group_rule(group=found, rule=new, by=request.user, now=now)):
            messages.success(request, _("The rule is kept as you set it, with its reason."))
            return redirect("rules", group_id=group_id)
    context = {"group": found, "form": form, "name": RULE_NAMES[rule], "setting": setting}
    return render(request, "web/rule.html", context, status=422 if form.errors else 200)
