"""A person's own feed addresses: made, shown once, switched off."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import one_of
from farms.errors import FlyroundError
from farms.selectors import feeds_of
from farms.services import make_feed, revoke_feed
from server.feeds.views import address_of
from server.web.doors import signed_in


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def feeds(request: HttpRequest) -> HttpResponse:
    """A POST makes an address and shows it here and never again, so this page is its answer and not a redirect."""
    made: dict[str, str] = {}
    if request.method == "POST":
        try:
            feed, key = make_feed(user=request.user, kind=request.POST.get("kind", ""), now=timezone.now())  # type: ignore[misc]
            made = {"kind": feed.kind, "address": address_of(feed.kind, key)}
        except FlyroundError as refusal:
            messages.error(request, str(refusal))
    live = {feed.kind: feed for feed in feeds_of(request.user).filter(revoked_at__isnull=True)}  # type: ignore[arg-type]
    context = {"made": made, "calendar": live.get("calendar"), "matters": live.get("matters")}
    return render(request, "web/feeds.html", context, status=200 if made or request.method != "POST" else 422)


@signed_in
@require_POST
def switch_off_feed(request: HttpRequest, feed_id: UUID) -> HttpResponse:
    revoke_feed(feed=one_of(feeds_of(request.user), feed_id), by=request.user, now=timezone.now())  # type: ignore[arg-type]
    messages.success(request, _("The address is switched off. What your program has copied already stays there."))
    return redirect("feeds")
