"""The group's list of products, typed from their labels: for all of the group to read, kept by those who advise."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms import clock
from farms.access import group_for, group_kept_by, one_of
from farms.errors import Conflict, Forbidden
from monitoring.selectors import asks_for_certificate, product_rows_of, products_of
from monitoring.services import ask_for_certificate, label_of, list_product, take_product_off
from server.web.doors import signed_in
from server.web.forms.application import CertificateForm, LabelForm
from server.web.forms.refusals import accepted


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def products(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """The list; a POST puts a product on it."""
    group = group_for(request.user, group_id) if request.method != "POST" else group_kept_by(request.user, group_id)
    form = LabelForm(request.POST or None)
    if form.is_valid() and accepted(form, lambda: _list(request, group, form)):
        messages.success(request, _("The product is on the list."))
        return redirect("products", group_id=group_id)
    asked = "yes" if asks_for_certificate(group.id) else "no"
    context = {
        "group": group,
        "form": form,
        "products": products_of(group),
        "keeps": _keeps(request, group_id),
        "asked": asked,
        "certificate_form": CertificateForm(initial={"asked": asked}),
    }
    return render(request, "web/products.html", context, status=422 if form.errors else 200)


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def product(request: HttpRequest, group_id: UUID, product_id: UUID) -> HttpResponse:
    """One product, typed anew from its label; the row before stays on record."""
    group = group_kept_by(request.user, group_id)
    row = one_of(product_rows_of(group), product_id)
    label = label_of(row)
    form = LabelForm(request.POST or None, initial=vars(label) | {"irac_groups": ", ".join(label.irac_groups)})
    if form.is_valid() and accepted(form, lambda: _list(request, group, form, row)):
        messages.success(request, _("The product is typed anew. Records that name it stay as they were."))
        return redirect("products", group_id=group_id)
    context = {"group": group, "form": form, "product": row}
    return render(request, "web/product.html", context, status=422 if form.errors else 200)


@signed_in
@require_POST
def take_off(request: HttpRequest, group_id: UUID, product_id: UUID) -> HttpResponse:
    row = one_of(product_rows_of(group_kept_by(request.user, group_id)), product_id)
    try:
        take_product_off(product=row, by=request.user, now=clock.now())  # type: ignore[arg-type]
        messages.success(request, _("The product is off the list. Records that name it stay as they were."))
    except Conflict as refusal:
        messages.error(request, str(refusal))
    return redirect("products", group_id=group_id)


@signed_in
@require_POST
def certificate(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """Whether records without the applicator's certificate number are pointed out."""
    group, form = group_kept_by(request.user, group_id), CertificateForm(request.POST)
    if form.is_valid():
        asked = form.cleaned_data["asked"] == "yes"
        ask_for_certificate(group=group, asked=asked, by=request.user, now=clock.now())  # type: ignore[arg-type]
        messages.success(request, _("It is on record."))
    return redirect("products", group_id=group_id)


def _list(request: HttpRequest, group: Any, form: LabelForm, replaces: Any = None) -> None:
    label = form.label_typed()
    list_product(group=group, label=label, by=request.user, now=clock.now(), replaces=replaces)  # type: ignore[arg-type]


def _keeps(request: HttpRequest, group_id: UUID) -> bool:
    try:
        group_kept_by(request.user, group_id)
    except Forbidden:
        return False
    return True
