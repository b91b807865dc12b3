"""A group's advisers for its coordinators: who leaves, who is next, and what is still promised; no farm is named."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.services import let_adviser_leave
from farms.access import group_for, one_of
from farms.models import Group, GroupMember
from farms.models.access import GroupRole
from farms.models.offer import OfferAnswer
from farms.models.promise import PromiseKind
from farms.offers import adviser_roles_of, advisers_here, offers_of_group, open_promises_of_group
from farms.selectors import advisers_of_group, regions_of
from farms.services import (
    RegionElsewhere,
    Successor,
    SuccessorUnknown,
    TakeOverDayWrong,
    days_to_begin,
    name_successor,
    pass_promises,
)
from server.api.fields import Body, Day, Id
from server.api.pagination import OnePage
from server.api.views import ApiViewSet

NOBODY_YET = OpenApiExample("Nobody takes over yet", {"successor_id": None}, request_only=True)
FOLLOWS = OpenApiExample(
    "Somebody takes over all farms",
    {"successor_id": "0197d0c2-5c00-7000-8000-00000000000c", "begins_on": "2026-06-15"},
    request_only=True,
)
PASSED = OpenApiExample("To another adviser", {"adviser_id": "0197d0c2-5c00-7000-8000-00000000000c"}, request_only=True)


class GroupAdviserSerializer(serializers.Serializer):
    id = serializers.UUIDField(help_text="Of the role in the group.")
    user_id = serializers.UUIDField(help_text="Of the person, as consents name an adviser.")
    name = serializers.CharField(source="user")
    ended_at = serializers.DateTimeField(allow_null=True)


class OffersSerializer(serializers.Serializer):
    left_id = serializers.UUIDField(source="left.id", help_text="The adviser who left.")
    successor_id = serializers.UUIDField(source="successor.id", allow_null=True, default=None)
    begins_on = serializers.DateField(allow_null=True)
    answer = serializers.ChoiceField(OfferAnswer.choices)
    farms = serializers.IntegerField(help_text="How many farms; which, only they and their advisers know.")


class OpenPromisesSerializer(serializers.Serializer):
    left_id = serializers.UUIDField(source="left.id", help_text="The adviser who left.")
    kind = serializers.ChoiceField(PromiseKind.choices)
    day = serializers.DateField()
    promises = serializers.IntegerField(help_text="How many are open.")


class NamedSerializer(serializers.Serializer):
    farms = serializers.IntegerField(help_text="How many farms are asked.")


class PassedSerializer(serializers.Serializer):
    promises = serializers.IntegerField(help_text="How many were passed on: of farms that agreed to that adviser.")


class NewSuccessor(Body):
    successor_id = Id(default=None, allow_null=True, help_text="An adviser of the group; null for nobody yet.")
    begins_on = Day(default=None, allow_null=True, help_text="Seven to 120 days ahead; each farm may say no.")
    region_id = Id(default=None, allow_null=True, help_text="For the farms of one region only.")


class ToWhom(Body):
    adviser_id = Id(help_text="An adviser of the group.")


class Advisers(ApiViewSet):
    pagination_class = OnePage
    lookup_url_kwarg = "group_adviser_id"

    @extend_schema(responses=GroupAdviserSerializer(many=True))
    def list(self, request: Request, group_id: UUID) -> Response:
        """The group's advisers, by name; for its coordinators."""
        return self.page(advisers_here(self._group(group_id)), GroupAdviserSerializer)

    @extend_schema(request=NewSuccessor, responses=GroupAdviserSerializer, examples=[NOBODY_YET])
    @action(detail=True, methods=["post"])
    def leave(self, request: Request, group_id: UUID, group_adviser_id: UUID) -> Response:
        """An adviser leaves the group, at once, with every farm of it; say who would follow, or nobody yet.

        Each farm is told and may say no. Programs' keys that the adviser made end, farm phones go on.
        """
        role = self._role(group_id, group_adviser_id)
        body = self.body(NewSuccessor)
        successor = self._successor(role, body) if body["successor_id"] else None
        ended = let_adviser_leave(role=role, successor=successor, by=self.user, now=self.now)
        return Response(GroupAdviserSerializer(ended).data)

    @extend_schema(request=NewSuccessor, responses=NamedSerializer, examples=[FOLLOWS])
    @action(detail=True, methods=["post"])
    def successor(self, request: Request, group_id: UUID, group_adviser_id: UUID) -> Response:
        """Say who would follow an adviser who left, or somebody else than before: to farms that didn't say yes."""
        role = self._role(group_id, group_adviser_id)
        farms = name_successor(role=role, successor=self._successor(role, self.body(NewSuccessor)), now=self.now)
        return Response({"farms": farms})

    @extend_schema(request=ToWhom, responses=PassedSerializer, examples=[PASSED])
    @action(detail=True, methods=["post"])
    def promises(self, request: Request, group_id: UUID, group_adviser_id: UUID) -> Response:
        """Pass the open promises of an adviser who left to another one, on farms that agreed to that one."""
        role = self._role(group_id, group_adviser_id)
        to = advisers_of_group(group_id).filter(id=self.body(ToWhom)["adviser_id"]).first()
        if to is None:
            raise SuccessorUnknown(pointer="/adviser_id")
        return Response({"promises": pass_promises(role=role, to=to, now=self.now)})

    @extend_schema(responses=OffersSerializer(many=True))
    @action(detail=False)
    def offers(self, request: Request, group_id: UUID) -> Response:
        """How many farms of those who left have nobody named yet, and how many answered what; not which."""
        return self.page(offers_of_group(self._group(group_id)), OffersSerializer)

    @extend_schema(responses=OpenPromisesSerializer(many=True))
    @action(detail=False, url_path="open-promises")
    def open_promises(self, request: Request, group_id: UUID) -> Response:
        """How many promises of those who left are open, by day and kind; no farm is named."""
        return self.page(open_promises_of_group(self._group(group_id)), OpenPromisesSerializer)

    def _group(self, group_id: UUID) -> Group:
        return group_for(self.who, group_id, role=GroupRole.COORDINATOR)

    def _role(self, group_id: UUID, role_id: UUID) -> GroupMember:
        return one_of(adviser_roles_of(self._group(group_id)), role_id)

    def _successor(self, role: GroupMember, body: dict[str, Any]) -> Successor:
        user = advisers_of_group(role.group_id).filter(id=body["successor_id"]).first()
        if user is None:
            raise SuccessorUnknown(pointer="/successor_id")
        if body["begins_on"] is None:
            first, last = days_to_begin(role, self.now)
            raise TakeOverDayWrong(pointer="/begins_on", first=first, last=last)
        region = None
        if body["region_id"] is not None:
            region = regions_of(role.group).filter(id=body["region_id"]).first()
            if region is None:
                raise RegionElsewhere(pointer="/region_id")
        return Successor(user, body["begins_on"], region)
