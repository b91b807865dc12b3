"""The people who count, who need no account. Their names stay on the farm: a reading holds the id only."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.selectors import people_of
from farms.services import add_person, end_person, rename_person
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
    needs = {
        "list": Need.COUNT,
        "retrieve": Need.COUNT,
        "create": Need.MANAGE,
        "partial_update": Need.MANAGE,
        "destroy": Need.MANAGE,
    }
    pagination_class = OnePage
    changeable = True
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

    @extend_schema(responses=PersonSerializer)
    def retrieve(self, request: Request, farm_id: UUID, person_id: UUID) -> Response:
        """One of those who count."""
        return self.told(PersonSerializer(one_of(people_of(self.farm), person_id)).data)

    @extend_schema(request=NewPerson, responses=PersonSerializer, examples=[EXAMPLE])
    def partial_update(self, request: Request, farm_id: UUID, person_id: UUID) -> Response:
        """Write a name or initials otherwise; what was counted stays."""
        person = self.to_change(people_of(self.farm), person_id)
        self.match(PersonSerializer(person).data)
        values = {"name": person.name, "initials": person.initials, **self.body(NewPerson, partial=True)}
        return self.told(PersonSerializer(rename_person(person=person, **values)).data)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, farm_id: UUID, person_id: UUID) -> Response:
        """Offer a name no longer; what was counted stays."""
        end_person(person=one_of(people_of(self.farm), person_id), now=self.now)
        return Response(status=204)
