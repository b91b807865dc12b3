"""The group's list of products: typed from labels, typed anew, taken off. Every row stays on record."""

from dataclasses import asdict
from datetime import datetime

from django.db import transaction

from farms.constraints import explained
from farms.models import Group, User
from monitoring.errors import LabelRefused, ProductReplaced
from monitoring.models import CertificateAsked, Product
from monitoring.rules.label import Label, label_faults

REPLACED_ONCE = "monitoring_product_replaces_id_key"


@transaction.atomic
def list_product(*, group: Group, label: Label, by: User, now: datetime, replaces: Product | None = None) -> Product:
    """Put a product on the group's list, or type one of it anew. Raises LabelRefused or ProductReplaced."""
    faults = label_faults(label)
    if faults:
        raise LabelRefused(errors=faults)
    return _row(group, label, by, now, replaces, taken_off=False)


@transaction.atomic
def take_product_off(*, product: Product, by: User, now: datetime) -> Product:
    """Take a product off the list; records that name it stay as they are. Raises ProductReplaced."""
    return _row(product.group, label_of(product), by, now, product, taken_off=True)


@transaction.atomic
def ask_for_certificate(*, group: Group, asked: bool, by: User, now: datetime) -> CertificateAsked:
    """Whether records of the group's farms without a certificate number are pointed out."""
    return CertificateAsked.objects.create(group=group, asked=asked, set_by=by, set_at=now)


def label_of(product: Product) -> Label:
    """What was typed from a product's label."""
    names = Label.__dataclass_fields__
    return Label(**{name: getattr(product, name) for name in names} | {"irac_groups": tuple(product.irac_groups)})


def _row(
    group: Group, label: Label, by: User, now: datetime, replaces: Product | None, *, taken_off: bool
) -> Product:  # fmt: skip
    columns = asdict(label) | {"irac_groups": list(label.irac_groups)}
    with explained({REPLACED_ONCE: ProductReplaced()}):
        return Product.objects.create(
            group=group, **columns, typed_by=by, typed_at=now, replaces=replaces, taken_off=taken_off
        )
