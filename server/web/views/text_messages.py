"""Text messages to a signed-in owner: the number is named, shown to be theirs by a code, and taken away."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.selectors.text_messages import last_text_of, text_number_of
from alerts.services import confirm_text_number, name_text_number, take_text_number_away
from farms import clock
from farms.errors import Missing
from server.limits import Tries, take_back, try_once
from server.web.doors import signed_in
from server.web.forms.refusals import accepted
from server.web.forms.text_message import TextCodeForm, TextNumberForm
from server.web.limits import too_often
from server.web.texts_offered import are_texts_offered

DAY = 24 * 3600
# Each costs money, and wakes somebody else where the number is a stranger's: a person's, and the whole service's.
CODES = Tries("text-codes", most=3, within=DAY, rests=DAY)
ALL_CODES = Tries("text-codes-of-all", most=300, within=DAY, rests=DAY)
WRONG_CODES = Tries("text-codes-typed", most=10, within=DAY, rests=DAY)
ALL = "all"


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def text_messages(request: HttpRequest) -> HttpResponse:
    """A POST sends a code to the number."""
    _only_where_offered(request)
    if request.method != "POST":
        return _page(request)
    form = TextNumberForm(request.POST)
    if not form.is_valid():
        return _page(request, number_form=form)
    if not _one_more_code(request):
        return too_often(request)
    typed = form.cleaned_data["number"]
    if not accepted(form, lambda: name_text_number(user=request.user, number=typed, now=clock.now())):  # type: ignore[arg-type]
        return _page(request, number_form=form)
    messages.success(request, _("A code is on its way. It can take some minutes."))
    return redirect("text_messages")


@signed_in
@require_POST
def confirm_number(request: HttpRequest) -> HttpResponse:
    """The code that came is typed here."""
    _only_where_offered(request)
    form, user = TextCodeForm(request.POST), request.user
    if not form.is_valid():
        return _page(request, code_form=form)
    if not try_once(WRONG_CODES, str(user.pk)):
        return too_often(request)
    typed = form.cleaned_data["code"]
    if not accepted(form, lambda: confirm_text_number(user=user, code=typed, now=clock.now())):  # type: ignore[arg-type]
        return _page(request, code_form=form)
    take_back(WRONG_CODES, str(user.pk))
    messages.success(request, _("Text messages go to this number from now on."))
    return redirect("text_messages")


@signed_in
@require_POST
def take_number_away(request: HttpRequest) -> HttpResponse:
    """Also where text messages are switched off meanwhile, and for who owns no farm any more."""
    if take_text_number_away(user=request.user):  # type: ignore[arg-type]
        messages.success(request, _("The number is forgotten. No text message goes there any more."))
    return redirect("text_messages" if are_texts_offered(request.user) else "your_mails")  # type: ignore[arg-type]


def _only_where_offered(request: HttpRequest) -> None:
    user = request.user
    if not are_texts_offered(user) and text_number_of(user) is None:  # type: ignore[arg-type]
        raise Missing()


def _one_more_code(request: HttpRequest) -> bool:
    return bool(try_once(CODES, str(request.user.pk)) and try_once(ALL_CODES, ALL))


def _page(
    request: HttpRequest, number_form: TextNumberForm | None = None, code_form: TextCodeForm | None = None
) -> HttpResponse:
    named = text_number_of(request.user)  # type: ignore[arg-type]
    context = {
        "named": named,
        "last": last_text_of(request.user),  # type: ignore[arg-type]
        "is_offered": are_texts_offered(request.user),  # type: ignore[arg-type]
        "number_form": number_form or TextNumberForm(initial={"number": named.number if named else ""}),
        "code_form": code_form or TextCodeForm(),
    }
    return render(request, "web/text_messages.html", context, status=422 if number_form or code_form else 200)
