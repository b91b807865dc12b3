"""What every view of the API does before its own work: who asks, for which farm, and may they."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, ClassVar
from uuid import UUID

from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from farms import clock
from farms.access import Need, Role, Who, actor_on, farm_for, role_on
from farms.errors import Detail, Forbidden, Invalid, Missing
from farms.ledger import Actor
from farms.models import Farm, User
from server.api.fields import Body
from server.api.problems import BadQuery, flatten

# Read by the paginator, wherever there is one.
PAGING = ("cursor", "limit")


class NotAnObject(Invalid):
    code = "not_an_object"
    message = _("Send a JSON object, in curly brackets.")


class ApiViewSet(GenericViewSet[Any]):
    """Plain input serializers in, services called, read serializers out."""

    lookup_value_converter = "uuid"
    query_was_read = False

    @property
    def who(self) -> Who:
        return self.request.user  # type: ignore[return-value]

    @property
    def user(self) -> User:
        """The person who asks. A token never has the rights of the actions that name one."""
        if not isinstance(self.who, User):
            raise Forbidden()
        return self.who

    @property
    def default_response_headers(self) -> dict[str, str]:
        """A farm's figures and keys stay in no cache on the way."""
        return {**super().default_response_headers, "Cache-Control": "no-store"}

    @cached_property
    def now(self) -> datetime:
        """The moment of the request: read once, handed down."""
        return clock.now()

    def body(self, kind: type[serializers.Serializer[Any]], *, partial: bool = False) -> dict[str, Any]:
        """The request's body, checked. Raises ValidationError, which becomes a problem with pointers."""
        if not isinstance(self.request.data, Mapping):
            raise NotAnObject()
        serializer = kind(data=self.request.data, partial=partial)
        serializer.is_valid(raise_exception=True)
        return dict(serializer.validated_data)

    def query(self, kind: type[serializers.Serializer[Any]]) -> dict[str, Any]:
        """What stands after the question mark, checked. Raises BadQuery, also for a name that isn't known."""
        self.query_was_read = True
        given = {name: values[-1] for name, values in self.request.query_params.lists() if name not in PAGING}
        serializer = kind(data=given)
        if not serializer.is_valid():
            wrong = flatten(serializer.errors)
            raise BadQuery(errors=[Detail(e["pointer"].removeprefix("/"), e["detail"], e["code"]) for e in wrong])
        return dict(serializer.validated_data)

    def page(self, rows: Any, kind: type[serializers.Serializer[Any]]) -> Response:
        """One page of rows, in the view's order."""
        if not self.query_was_read:
            self.query(Body)
        found = self.paginate_queryset(rows)
        return self.get_paginated_response(kind(found, many=True, context=self.get_serializer_context()).data)


def role_for(who: Who, farm_id: UUID) -> Role:
    """The role of somebody already let in. Raises Missing."""
    role = role_on(who, farm_id)
    if role is None:
        raise Missing()
    return role


class OnFarm(ApiViewSet):
    """Everything under /farms/{farm_id}/. The door is asked before a body is read, so a stranger learns nothing.

    `needs` names what each action takes. Strangers get 404, members without the right 403.
    """

    needs: ClassVar[Mapping[str, Need]] = {}
    farm: Farm

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        need = self.needs.get(self.action or "", Need.READ)
        self.farm = farm_for(self.who, kwargs["farm_id"], needs=need)

    @cached_property
    def role(self) -> Role:
        return role_for(self.who, self.farm.id)

    @cached_property
    def actor(self) -> Actor:
        """How whoever asks is named in the farm's log."""
        return actor_on(self.who, self.farm.id)
