"""How temperatures and days are shown to a user."""

from django.utils.translation import gettext_lazy as _

from farms.errors import Invalid
from farms.models import User
from farms.showing import CELSIUS, DAYS_AS_USUAL, DEGREES_AS_USUAL, FAHRENHEIT, DaysForm


class ShownUnknown(Invalid):
    code = "shown_unknown"
    message = _("Choose one of the ways that are offered.")


def check_shown(degrees: str, days: str) -> None:
    """Raises ShownUnknown."""
    if degrees not in (DEGREES_AS_USUAL, CELSIUS, FAHRENHEIT):
        raise ShownUnknown(pointer="/degrees")
    if days not in (DAYS_AS_USUAL, *DaysForm.values):
        raise ShownUnknown(pointer="/days")


def choose_shown(*, user: User, degrees: str, days: str) -> User:
    """Show temperatures and days so from now on, on pages and in mails. Raises ShownUnknown."""
    check_shown(degrees, days)
    User.objects.filter(id=user.id).update(degrees=degrees, days=days)
    user.degrees, user.days = degrees, days
    return user
