"""The people who count, who need no account. Their names stay on the farm: a reading holds the id only."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.selectors import people_of
from farms.services import add_person, end_person
from server.api.fields import Body, Text
from server.api.pagination import OnePage
from server.api.views import OnFarm

EXAMPLE = OpenApiExample("Somebody invented", {"name": "Rosalind Quist", "initials": "RQ"}, request_only=True)


class PersonSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    initials = serializers.CharField()


class NewPerson(Body):
    name = Text(max_length=120)
    initials = Text(max_length=6)


class People(OnFarm):
    # Names are for whoever sends rounds, not for a program that only reads figures.
    needs = {"list": Need.COUNT, "create": Need.MANAGE, "destroy": Need.MANAGE}
    pagination_class = OnePage
    lookup_url_kwarg = "person_id"

    @extend_schema(responses=PersonSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """Who counts on the farm, by name.

        For whoever may send rounds; a token that only reads gets no names.
        """
        return self.page(people_of(self.farm), PersonSerializer)

    @extend_schema(request=NewPerson, responses={201: PersonSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Add somebody who counts."""
        person = add_person(farm=self.farm, **self.body(NewPerson), now=self.now)
        return Response(PersonSerializer(person).data, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, farm_id: UUID, person_id: UUID) -> Response:
        """Offer a name no longer; what was counted stays."""
        end_person(person=one_of(people_of(self.farm), person_id), now=self.now)
        return Response(status=204)
