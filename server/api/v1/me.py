"""Who asks, as the service sees it: the first thing to try with a new token."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Role
from farms.models import ApiToken, Farm
from farms.models.access import GroupRole
from farms.selectors import farms_with_roles, group_roles_of, guest_roles_of
from server.api.views import ApiViewSet, role_for


class FarmRoleSerializer(serializers.Serializer):
    farm_id = serializers.UUIDField()
    name = serializers.CharField()
    role = serializers.CharField()
    may = serializers.ListField(child=serializers.CharField())


class GroupRoleSerializer(serializers.Serializer):
    group_id = serializers.UUIDField()
    name = serializers.CharField(source="group.name")
    role = serializers.ChoiceField(GroupRole.choices)
    ends_at = serializers.DateTimeField(allow_null=True, help_text="When a guest's stay ends; null for the others.")


class MeSerializer(serializers.Serializer):
    kind = serializers.ChoiceField(["person", "program", "phone"])
    id = serializers.UUIDField()
    name = serializers.CharField(help_text="A person's name, or how a token was named.")
    language = serializers.CharField()
    expires_at = serializers.DateTimeField(allow_null=True, help_text="When a token ends; null for a person.")
    farms = FarmRoleSerializer(many=True)
    groups = GroupRoleSerializer(many=True, help_text="What a person is in which advisory group.")


class Me(ApiViewSet):
    @extend_schema(responses=MeSerializer)
    def retrieve(self, request: Request) -> Response:
        """Who you are here, and what you may do on which farm."""
        who = self.who
        answer: dict[str, Any] = {"id": who.id}
        if isinstance(who, ApiToken):
            role = role_for(who, who.farm_id)
            answer |= {"kind": "phone" if role.name == "phone" else "program", "name": who.name}
            answer |= {"language": who.farm.language, "expires_at": who.expires_at}
            answer |= {"farms": [_farm(who.farm, role)], "groups": []}
        else:
            answer |= {"kind": "person", "name": who.name, "language": who.language, "expires_at": None}
            answer["farms"] = [_farm(farm, role) for farm, role in farms_with_roles(who)]
            answer["groups"] = [*group_roles_of(who), *guest_roles_of(who)]
        return self.told(MeSerializer(answer).data)


def _farm(farm: Farm, role: Role) -> dict[str, Any]:
    return {"farm_id": farm.id, "name": farm.name, "role": role.name, "may": sorted(role.may)}
