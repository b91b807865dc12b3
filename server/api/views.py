"""What every view of the API does before its own work: who asks, for which farm, and may they."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from farms import clock
from farms.access import Need, Role, Row, Who, actor_on, farm_for, one_of, role_on
from farms.errors import Detail, Forbidden, Invalid, Missing
from farms.ledger import Actor, lock_heads
from farms.models import Farm, User
from farms.services.answer import Asking, keep_answer, recall
from server.api.conditional import require_match, tagged
from server.api.fields import Body
from server.api.idempotency import asking_of, packed, unpacked
from server.api.leaving import Leaving
from server.api.problems import BadQuery, flatten
from server.api.rendering import OneJson, tag_of

# Read for every list and record, beside what a view asks for itself.
PAGING, FIELDS = ("cursor", "limit"), "fields"
NO_SUCH_FIELD = _("There is no such field here. Name some of these, with commas between them: {fields}.")


class NotAnObject(Invalid):
    code = "not_an_object"
    message = _("Send a JSON object, in curly brackets.")


class Replayed(Exception):
    """The request was sent before: its answer is there already."""

    def __init__(self, response: HttpResponse) -> None:
        super().__init__()
        self.response = response


class ApiViewSet(GenericViewSet[Any]):
    """Plain input serializers in, services called, read serializers out.

    `changeable`: the view's records can be changed, so that its answers to changes carry the tag of the new state.
    `tells_secret`: its answers to POST tell a key or a code, and are never kept. `leaving`: what will be taken away.
    """

    lookup_value_converter = "uuid"
    changeable = False
    tells_secret = False
    leaving: ClassVar[Leaving | None] = None
    query_was_read = False
    farm: Farm | None = None
    asking: Asking | None = None

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
        leaving = self.leaving.headers() if self.leaving else {}
        usual = super().default_response_headers
        vary = ", ".join(filter(None, [usual.get("Vary", ""), "Authorization"]))
        return {**usual, "Vary": vary, "Cache-Control": "no-store", **leaving}

    @cached_property
    def now(self) -> datetime:
        """The moment of the request: read once, handed down."""
        return clock.now()

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Authentication, the door, and the answer of a POST that was sent before; in this order."""
        super().initial(request, *args, **kwargs)
        self.enter(**kwargs)
        if not request.user.is_authenticated:
            return
        self.asking = asking_of(request, self.who, self.farm)
        kept = recall(self.asking, now=self.now) if self.asking else None
        if kept is not None:
            self.asking = None
            raise Replayed(unpacked(kept))

    def enter(self, **kwargs: Any) -> None:
        """The door of the view, asked before a body is read."""

    def handle_exception(self, exc: Exception) -> HttpResponseBase:
        if isinstance(exc, Replayed):
            return exc.response
        return super().handle_exception(exc)

    def finalize_response(
        self, request: Request, response: HttpResponseBase, *args: Any, **kwargs: Any
    ) -> HttpResponseBase:
        """The answer, written out; kept where it may be asked for again, tagged where it may be known already."""
        response = super().finalize_response(request, response, *args, **kwargs)
        if response.streaming or not 200 <= response.status_code < 300:
            return response
        if isinstance(response, Response):
            response.render()
        if self.asking is not None:
            told = None if self.tells_secret else packed(response)
            keep_answer(self.asking, status=response.status_code, answer=told, now=self.now)
        known_again = request.method in ("GET", "HEAD") or (self.changeable and response.status_code != 204)
        # A file to take along is no record: it is made anew each time.
        return tagged(request, response) if known_again and isinstance(response, Response) else response

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
        ours = (*PAGING, FIELDS) if self.request.method in ("GET", "HEAD") else PAGING
        given = {name: values[-1] for name, values in self.request.query_params.lists() if name not in ours}
        serializer = kind(data=given)
        if not serializer.is_valid():
            wrong = flatten(serializer.errors)
            raise BadQuery(errors=[Detail(e["pointer"].removeprefix("/"), e["detail"], e["code"]) for e in wrong])
        return dict(serializer.validated_data)

    def page(self, rows: Any, kind: type[serializers.Serializer[Any]]) -> Response:
        """One page of rows, in the view's order; with some of the fields only, where that is asked for."""
        if not self.query_was_read:
            self.query(Body)
        return self.page_of(self.paginate_queryset(rows), kind)

    def page_of(self, found: Any, kind: type[serializers.Serializer[Any]]) -> Response:
        """A page of the rows that the paginator found. Raises BadQuery for a field that isn't known."""
        serializer: Any = kind(found, many=True, context=self.get_serializer_context())
        wanted, fields = self.request.query_params.get(FIELDS), serializer.child.fields
        if wanted is not None:
            for name in set(fields) - chosen_names(wanted, fields):
                fields.pop(name)
        return self.get_paginated_response(serializer.data)

    def told(self, data: Mapping[str, Any], status: int = 200) -> Response:
        """One record; with some of its fields only, where that is asked for."""
        if self.request.method in ("GET", "HEAD") and not self.query_was_read:
            self.query(Body)
        wanted = self.request.query_params.get(FIELDS)
        if wanted is not None:
            names = chosen_names(wanted, data)
            data = {name: value for name, value in data.items() if name in names}
        return Response(data, status=status)

    def match(self, data: Mapping[str, Any]) -> None:
        """Go on with a change only if whoever asks has seen this state of the record. Raises MatchMissing or Stale.

        The record has to be locked, so that nobody changes it between this and the change.
        """
        require_match(self.request, tag_of(OneJson().render(data)))


def chosen_names(wanted: str, known: Iterable[str]) -> set[str]:
    """The names in a list with commas. Raises BadQuery for one that isn't known."""
    names, there = {name.strip() for name in wanted.split(",")}, list(known)
    if not names <= set(there):
        sentence = str(NO_SUCH_FIELD).format(fields=", ".join(there))
        raise BadQuery(errors=[Detail(FIELDS, sentence, "unknown_field")])
    return names


def renamed(asked: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """A query's parts by the names that a filter has for them."""
    return {names[name]: value for name, value in asked.items()}


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

    def enter(self, **kwargs: Any) -> None:
        need = self.needs.get(self.action or "", Need.READ)
        self.farm = farm_for(self.who, kwargs["farm_id"], needs=need)

    def to_change(self, records: QuerySet[Row], record_id: UUID) -> Row:
        """A record to change, locked until the answer: the farm first, as every writer does. Raises Missing."""
        lock_heads([self.farm.id])
        return one_of(records.select_for_update(of=("self",)), record_id)

    @cached_property
    def role(self) -> Role:
        return role_for(self.who, self.farm.id)

    @cached_property
    def actor(self) -> Actor:
        """How whoever asks is named in the farm's log."""
        return actor_on(self.who, self.farm.id)
