"""Who stands at the door of a page: a signed-in person or a farm phone, and what they may do on that farm."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from functools import wraps
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.cache import add_never_cache_headers
from django.views.decorators.vary import vary_on_cookie

from alerts.selectors.stopped_addresses import stop_of
from farms import clock
from farms.access import Need, Role, Who, let_in
from farms.errors import Forbidden, Missing
from farms.ledger import Actor
from farms.showing import showing
from server.web.phone import phone_of
from server.web.shown import shown_here

View = Callable[..., HttpResponse]


@dataclass(frozen=True)
class Visit:
    """One request to one farm: who asks, let in by which role, and when. `now` is the clock's, read once."""

    who: Who
    farm: Any
    role: Role
    now: datetime

    @property
    def today(self) -> date:
        """The day on the farm."""
        return clock.local_date(self.now, self.farm.time_zone)

    @property
    def actor(self) -> Actor:
        """How who asks is named in the farm's log."""
        return Actor(self.role.actor_kind, self.who.id)

    @property
    def is_phone(self) -> bool:
        return self.role.name == "phone"

    @property
    def may(self) -> dict[str, bool]:
        """For templates: visit.may.manage and so on."""
        return {need.value: need in self.role.may for need in Need}


def farm_page(needs: Need = Need.READ) -> Callable[[View], View]:
    """A page under a farm's address. Strangers get 404, members without the right 403, the unknown must sign in."""

    def decorate(view: View) -> View:
        @wraps(view)
        @vary_on_cookie
        def page(request: HttpRequest, farm_id: UUID, **kwargs: Any) -> HttpResponse:
            who = who_asks(request)
            if who is None:
                return redirect_to_login(request.get_full_path())
            note_stop(request)
            with refusals():
                farm, role = let_in(who, farm_id, needs=needs)
                with showing(shown_here(request, farm.time_zone)):
                    response = view(request, Visit(who, farm, role, clock.now()), **kwargs)
            # A picture says for itself that a browser may keep it.
            if not response.has_header("Cache-Control"):
                add_never_cache_headers(response)
            return response

        return page

    return decorate


def signed_in(view: View) -> View:
    """A page for anybody who is signed in; what they see on it, the door below decides."""

    @wraps(view)
    @vary_on_cookie
    def page(request: HttpRequest, **kwargs: Any) -> HttpResponse:
        if not request.user.is_authenticated:
            return redirect_to_login(request.get_full_path())
        note_stop(request)
        with refusals(), showing(shown_here(request)):
            response = view(request, **kwargs)
        add_never_cache_headers(response)
        return response

    return page


def note_stop(request: HttpRequest) -> None:
    """For the line above every page that says when mails to this person don't arrive."""
    if request.user.is_authenticated:
        request.stopped_address = stop_of(request.user)  # type: ignore[attr-defined, arg-type]


def who_asks(request: HttpRequest) -> Who | None:
    """The signed-in person, else the farm phone, else nobody."""
    if request.user.is_authenticated:
        return request.user  # type: ignore[return-value]
    return phone_of(request)


@contextmanager
def refusals() -> Iterator[None]:
    """What the door refuses becomes the page that Django shows for it: 404 or 403."""
    try:
        yield
    except Missing as error:
        raise Http404(str(error)) from error
    except Forbidden as error:
        raise PermissionDenied(str(error)) from error
