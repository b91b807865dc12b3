"""A finding of a fly walk: how it stands, what became of it, its photos; corrected by later rows."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from farms.access import Need, one_of
from farms.errors import FlyroundError, Missing
from farms.ids import uuid7
from farms.selectors import facilities_of, names_in_log
from monitoring.rules.pixels import MOST_BYTES
from monitoring.selectors import (
    finding_photos_of,
    finding_picture_of,
    findings_of,
    stations_of,
    steps_of,
    versions_of,
    words_of_findings,
    words_of_steps,
)
from monitoring.services import (
    FindingMended,
    FindingPhotoSent,
    StepMended,
    StepSent,
    add_finding_photo,
    correct_finding,
    erase_finding_photo,
    record_step,
)
from server.web.doors import Visit, farm_page
from server.web.forms.refusals import accepted
from server.web.forms.walk import CorrectFindingForm, FindingPhotoForm, MendStepForm, StepForm, as_noted
from server.web.log_lines import called
from server.web.pictures import shown_picture
from server.web.walks import finding_lines, seen_of, where_of

# What may be noted next, by how a finding stands.
NEXT = {
    "to_do": ("done", "gone", "still_there"),
    "to_check": ("gone", "still_there", "done"),
    "gone": ("still_there",),
    "nothing": (),
}


@farm_page(Need.READ)
@require_http_methods(["GET", "HEAD", "POST"])
def finding(request: HttpRequest, visit: Visit, finding_id: UUID) -> HttpResponse:
    """How it stands; whoever records notes what became of it."""
    found = known(visit, finding_id)
    kinds = NEXT[found.state] if visit.may["record"] else ()
    given = request.POST if request.method == "POST" and kinds else None
    form = StepForm(given, kinds=kinds, initial={"on": visit.today})
    if form.is_valid() and accepted(form, lambda: _step(visit, found, form)):
        messages.success(request, _("Noted."))
        return redirect("finding", farm_id=visit.farm.id, finding_id=found.known)
    photos = finding_photos_of(visit.farm).filter(finding_id=found.known, erased=False).order_by("received_at")
    words = words_of_findings(visit.farm, [found.id]).get(found.id, {})
    context = {
        "visit": visit,
        "line": finding_lines(visit.farm, [found], visit.today)[0],
        "words": words,
        "form": form if kinds else None,
        "photos": list(photos),
        "photo_form": FindingPhotoForm(initial={"id": uuid7()}) if visit.may["record"] else None,
        "steps": _steps(visit, found),
        "before": _before(visit, found),
    }
    return render(request, "web/finding.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, visit: Visit, finding_id: UUID) -> HttpResponse:
    """Note it anew, with the reason: the first stays."""
    found = known(visit, finding_id)
    words = words_of_findings(visit.farm, [found.id]).get(found.id, {})
    form = CorrectFindingForm(
        request.POST or None, stations=stations_of(visit.farm), facilities=list(facilities_of(visit.farm)),
        initial=as_noted(found, words),
    )  # fmt: skip
    if form.is_valid() and accepted(form, lambda: _correct(visit, found, form)):
        messages.success(request, _("It is changed. What was noted first stays on record."))
        if form.cleaned_data["withdrawn"]:
            return redirect("walk", farm_id=visit.farm.id, walk_id=found.walk_id)
        return redirect("finding", farm_id=visit.farm.id, finding_id=found.known)
    context = {"visit": visit, "form": form, "line": finding_lines(visit.farm, [found], visit.today)[0]}
    return render(request, "web/finding_correct.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def mend_step(request: HttpRequest, visit: Visit, finding_id: UUID, finding_step_id: UUID) -> HttpResponse:
    """A step noted wrongly: anew, or taken back, with the reason."""
    found = known(visit, finding_id)
    step = next((each for each in steps_of(found) if each.id == finding_step_id), None)
    if step is None:
        raise Missing()
    initial = {"kind": step.kind, "on": step.on, "due_on": step.due_on}
    initial |= words_of_steps(visit.farm, [step.id]).get(step.id, {}) | {"reason": ""}
    kinds = ("done", "gone", "still_there", "withdrawn")
    form = MendStepForm(request.POST or None, kinds=kinds, initial=initial)
    if form.is_valid() and accepted(form, lambda: _step(visit, found, form, step)):
        messages.success(request, _("It is changed. What was noted first stays on record."))
        return redirect("finding", farm_id=visit.farm.id, finding_id=found.known)
    context = {"visit": visit, "form": form, "line": finding_lines(visit.farm, [found], visit.today)[0], "step": step}
    return render(request, "web/finding_step.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_POST
def add_photo(request: HttpRequest, visit: Visit, finding_id: UUID) -> HttpResponse:
    found = known(visit, finding_id)
    form = FindingPhotoForm(request.POST, request.FILES)
    if not form.is_valid():
        for errors in form.errors.values():
            for sentence in errors:
                messages.error(request, sentence)
    else:
        # One byte more than is taken: enough to be refused, whatever its size.
        sent = FindingPhotoSent(form.cleaned_data["id"], form.cleaned_data["file"].read(MOST_BYTES + 1))
        try:
            add_finding_photo(finding=found, sent=sent, actor=visit.actor, now=visit.now)
        except FlyroundError as refusal:
            for sentence in {each.detail for each in refusal.errors} or {str(refusal)}:
                messages.error(request, sentence)
        else:
            messages.success(request, _("The photo is kept. Where and with what it was taken is not."))
    return redirect("finding", farm_id=visit.farm.id, finding_id=found.known)


@farm_page(Need.READ)
@require_safe
def photo(request: HttpRequest, visit: Visit, finding_photo_id: UUID) -> HttpResponse:
    return _shown(request, visit, finding_photo_id, small=False)


@farm_page(Need.READ)
@require_safe
def small_photo(request: HttpRequest, visit: Visit, finding_photo_id: UUID) -> HttpResponse:
    return _shown(request, visit, finding_photo_id, small=True)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def erase(request: HttpRequest, visit: Visit, finding_photo_id: UUID) -> HttpResponse:
    """A question, and the erasing."""
    found = one_of(finding_photos_of(visit.farm), finding_photo_id)
    if request.method == "POST":
        erase_finding_photo(farm=visit.farm, photo=found, by=request.user, now=visit.now)  # type: ignore[arg-type]
        messages.success(request, _("The photo is erased. That there was one stays on record."))
        return redirect("finding", farm_id=visit.farm.id, finding_id=found.finding_id)
    return render(request, "web/erase_finding_photo.html", {"visit": visit, "photo": found})


def known(visit: Visit, finding_id: UUID) -> Any:
    """The finding that is known by an id, as it stands. Raises Missing."""
    found = findings_of(visit.farm).filter(known=finding_id).first()
    if found is None:
        raise Missing()
    return found


def _step(visit: Visit, found: Any, form: StepForm, replaced: Any = None) -> None:
    typed = dict(form.cleaned_data)
    reason = typed.pop("reason", "")
    mending = StepMended(replaced, reason) if replaced is not None else None
    record_step(finding=found, step=StepSent(**typed), actor=visit.actor, now=visit.now, mending=mending)


def _correct(visit: Visit, found: Any, form: CorrectFindingForm) -> None:
    mended = FindingMended(found, form.cleaned_data["reason"], form.sent(), form.cleaned_data["seen_on"])
    correct_finding(farm=visit.farm, mended=mended, actor=visit.actor, now=visit.now)


def _steps(visit: Visit, found: Any) -> list[dict[str, Any]]:
    """What became of it, oldest first, with words and who noted it."""
    rows = steps_of(found)
    words, names = words_of_steps(visit.farm, [row.id for row in rows]), _names(visit, rows)
    return [{"row": row, "words": words.get(row.id, {}), "who": _who(row, names)} for row in rows]


def _before(visit: Visit, found: Any) -> list[dict[str, Any]]:
    """Its versions where it was corrected, newest first, each with why it was changed into the next."""
    rows = versions_of(found)
    if len(rows) == 1:
        return []
    words, names = words_of_findings(visit.farm, [row.id for row in rows]), _names(visit, rows)
    told = [
        {
            "row": row, "where": where_of(row, words.get(row.id, {})), "seen": seen_of(row),
            "words": words.get(row.id, {}), "who": _who(row, names),
        }
        for row in rows
    ]  # fmt: skip
    return told[::-1]


def _names(visit: Visit, rows: list[Any]) -> dict[UUID, str]:
    return names_in_log(visit.farm, {row.noted_by for row in rows if row.noted_by})


def _who(row: Any, names: dict[UUID, str]) -> str:
    return called(row.noted_by, row.actor_kind, names)


def _shown(request: HttpRequest, visit: Visit, photo_id: UUID, *, small: bool) -> HttpResponse:
    found = one_of(finding_photos_of(visit.farm), photo_id)
    return shown_picture(request, finding_picture_of(found, small=small), found.id, found.received_at, small=small)
