"""The group's list of products, typed from their labels. The label is the law: no dose and no recommendation."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import group_for, group_kept_by, one_of
from farms.models import Group
from monitoring.models.product import ProductKind
from monitoring.rules.label import (
    LONGEST_MEAT_DAYS,
    LONGEST_MILK_HOURS,
    LONGEST_REENTRY_HOURS,
    MOST_GROUPS,
    Label,
    groups_of,
)
from monitoring.selectors import asks_for_certificate, product_rows_of, products_of
from monitoring.services import ask_for_certificate, list_product, take_product_off
from server.api.fields import Body, Choice, Id, Several, Text, Whole, YesNo
from server.api.pagination import OnePage
from server.api.views import ApiViewSet

LABEL_EXAMPLE = {
    "name": "Invented Wall Spray", "registration_number": "00000-1", "substances": "inventedthrin",
    "irac_groups": ["3A"], "kind": "residual", "reentry_hours": 12, "reentry_words": "until sprays have dried",
}  # fmt: skip
EXAMPLE = OpenApiExample("A residual spray (invented)", LABEL_EXAMPLE, request_only=True)


class LabelSerializer(serializers.Serializer):
    """What was typed from a product's label. Times are null where it names none in hours or days."""

    name = serializers.CharField(help_text="As on the label.")
    registration_number = serializers.CharField()
    substances = serializers.CharField(help_text="Active substances.")
    irac_groups = serializers.ListField(child=serializers.CharField(), help_text="Mode-of-action groups, or none.")
    kind = serializers.ChoiceField(ProductKind.choices)
    reentry_hours = serializers.IntegerField(allow_null=True)
    reentry_words = serializers.CharField(allow_blank=True, help_text="What the label says about going in again.")
    milk_hours = serializers.IntegerField(allow_null=True, help_text="How long milk is withheld.")
    meat_days = serializers.IntegerField(allow_null=True, help_text="How long meat is withheld.")


class ProductSerializer(LabelSerializer):
    id = serializers.UUIDField()
    typed_by_id = serializers.UUIDField()
    typed_at = serializers.DateTimeField()
    replaces_id = serializers.UUIDField(allow_null=True, help_text="The row that it replaced.")


class LabelBody(Body):
    name = Text(max_length=120)
    registration_number = Text(max_length=40, help_text="The EPA's, or the national one.")
    substances = Text(max_length=200, help_text="Active substances, with commas between them.")
    irac_groups = Several(
        child=Text(max_length=4), min_length=1, max_length=MOST_GROUPS, help_text='Such as ["3A"], or ["none"].'
    )
    kind = Choice(ProductKind.choices)
    reentry_hours = Whole(default=None, allow_null=True, min_value=1, max_value=LONGEST_REENTRY_HOURS)
    reentry_words = Text(default="", allow_blank=True, max_length=200)
    milk_hours = Whole(default=None, allow_null=True, min_value=1, max_value=LONGEST_MILK_HOURS)
    meat_days = Whole(default=None, allow_null=True, min_value=1, max_value=LONGEST_MEAT_DAYS)


class NewProduct(LabelBody):
    replaces_id = Id(default=None, allow_null=True, help_text="One of the list that was typed anew from its label.")


class CertificateSerializer(serializers.Serializer):
    asked = serializers.BooleanField(help_text="Whether records without a certificate number are pointed out.")


class CertificateBody(Body):
    asked = YesNo()


def label_in(body: dict[str, Any]) -> Label:
    """The label that a body names, taken out of it."""
    values = {name: body.pop(name) for name in Label.__dataclass_fields__}
    return Label(**values | {"irac_groups": groups_of(",".join(values["irac_groups"]))})


class Products(ApiViewSet):
    pagination_class = OnePage
    lookup_url_kwarg = "product_id"

    @extend_schema(responses=ProductSerializer(many=True))
    def list(self, request: Request, group_id: UUID) -> Response:
        """The group's list of products as it stands, by name. The label is the law; nothing is recommended."""
        return self.page(products_of(group_for(self.who, group_id)), ProductSerializer)

    @extend_schema(request=NewProduct, responses={201: ProductSerializer, 404: None}, examples=[EXAMPLE])
    def create(self, request: Request, group_id: UUID) -> Response:
        """Put a product on the list, or type one anew; for the group's advisers and coordinators."""
        group = self.kept(group_id)
        body = self.body(NewProduct)
        replaces_id = body.pop("replaces_id")
        replaces = one_of(product_rows_of(group), replaces_id) if replaces_id else None
        made = list_product(group=group, label=label_in(body), by=self.user, now=self.now, replaces=replaces)
        return Response(ProductSerializer(made).data, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, group_id: UUID, product_id: UUID) -> Response:
        """Take a product off the list; records that name it stay as they are."""
        product = one_of(product_rows_of(self.kept(group_id)), product_id)
        take_product_off(product=product, by=self.user, now=self.now)
        return Response(status=204)

    @extend_schema(responses=CertificateSerializer)
    @action(detail=False)
    def certificate(self, request: Request, group_id: UUID) -> Response:
        """Whether the group asks for the applicator's certificate number."""
        return self.told({"asked": asks_for_certificate(group_for(self.who, group_id).id)})

    @extend_schema(
        request=CertificateBody,
        responses={201: CertificateSerializer},
        examples=[OpenApiExample("Asked for", {"asked": True}, request_only=True)],
    )
    @certificate.mapping.post
    def ask_certificate(self, request: Request, group_id: UUID) -> Response:
        """Ask for it, or no more; for the group's advisers and coordinators."""
        group = self.kept(group_id)
        made = ask_for_certificate(group=group, **self.body(CertificateBody), by=self.user, now=self.now)
        return Response({"asked": made.asked}, status=201)

    def kept(self, group_id: UUID) -> Group:
        return group_kept_by(self.who, group_id)
