"""The group's list of products as it stands, and what stood before."""

from uuid import UUID

from django.db.models import QuerySet

from farms.models import Group
from monitoring.models import CertificateAsked, Product


def products_of(group: Group) -> QuerySet[Product]:
    """The products on the list now, by name."""
    return product_rows_of(group).filter(replaced_by__isnull=True, taken_off=False).order_by("name", "id")


def product_rows_of(group: Group) -> QuerySet[Product]:
    """Every row, newest first: what was typed anew and what was taken off, too."""
    return Product.objects.filter(group_id=group.id).order_by("-typed_at", "-id")


def asks_for_certificate(group_id: UUID) -> bool:
    """Whether the group points out records without a certificate number; not, until somebody says so."""
    newest = CertificateAsked.objects.filter(group_id=group_id).order_by("-set_at", "-id").first()
    return newest is not None and newest.asked
