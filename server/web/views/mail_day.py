"""On which day the farm's weekly mail goes out: what holds, who chose before, and another one."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.selectors import mail_day_of, mail_days_chosen
from alerts.services import set_mail_day
from farms.access import Need
from server.web.doors import Visit, farm_page
from server.web.forms.farm import MailDayForm
from server.web.forms.refusals import accepted


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def mail_day(request: HttpRequest, visit: Visit) -> HttpResponse:
    now = mail_day_of(visit.farm)
    form = MailDayForm(request.POST or None, initial={"weekday": now})
    if form.is_valid() and accepted(form, lambda: _set(request, visit, form)):
        messages.success(request, _("The weekly mail goes out on that day from now on."))
        return redirect("mail_day", farm_id=visit.farm.id)
    chosen = [(WEEKDAYS[row.weekday - 1], row.set_by, row.set_at) for row in mail_days_chosen(visit.farm)]
    context = {"visit": visit, "form": form, "weekday": WEEKDAYS[now - 1], "chosen": chosen}
    return render(request, "web/mail_day.html", context, status=422 if form.errors else 200)


def _set(request: HttpRequest, visit: Visit, form: MailDayForm) -> None:
    set_mail_day(farm=visit.farm, weekday=form.cleaned_data["weekday"], by=request.user, now=visit.now)  # type: ignore[arg-type]
