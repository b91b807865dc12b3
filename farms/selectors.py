"""What is read on the ground floor. Ids given by somebody come through `farms.access` first."""

from datetime import date, datetime

from django.db import connection
from django.db.models import Q, QuerySet

from farms.access import ADVISER, FARM_ROLES, Role, farms_of
from farms.credentials import key_hash
from farms.models import ApiToken, Consent, Facility, Farm, Membership, Person, Season, User
from farms.models.access import FarmRole
from farms.tenancy.acting import act_for_token


def farms_with_roles(user: User) -> list[tuple[Farm, Role]]:
    """Every farm that a user may see, by name, with the role there. Three queries, however many farms."""
    own = Membership.objects.filter(user_id=user.id, ended_at__isnull=True).values_list("farm_id", "role")
    roles = {farm_id: FARM_ROLES[FarmRole(role)] for farm_id, role in own}
    return [(farm, roles.get(farm.id, ADVISER)) for farm in farms_of(user)]


def facilities_of(farm: Farm) -> QuerySet[Facility]:
    """In walking order."""
    return Facility.objects.filter(farm_id=farm.id).order_by("position", "name")


def season_on(farm: Farm, day: date) -> Season | None:
    """The season that holds a local day, or None."""
    seasons = Season.objects.filter(
        Q(closes_on__isnull=True) | Q(closes_on__gte=day), farm_id=farm.id, opens_on__lte=day
    )
    return seasons.order_by("-opens_on").first()


def people_of(farm: Farm) -> QuerySet[Person]:
    """Who counts there now, by name."""
    return Person.objects.filter(farm_id=farm.id, ended_at__isnull=True).order_by("name", "id")


def members_of(farm: Farm) -> QuerySet[Membership]:
    """The roles that last, with their users, by name."""
    members = Membership.objects.filter(farm_id=farm.id, ended_at__isnull=True)
    return members.select_related("user").order_by("user__name", "user__email")


def consents_of(farm: Farm) -> QuerySet[Consent]:
    """What the farm has agreed to, the ended ones too, newest first."""
    return Consent.objects.filter(farm_id=farm.id).select_related("adviser", "given_by").order_by("-given_at", "-id")


def tokens_of(farm: Farm) -> QuerySet[ApiToken]:
    """Keys and farm phones, the ended ones too, newest first."""
    return ApiToken.objects.filter(farm_id=farm.id).select_related("made_by").order_by("-made_at", "-id")


def token_by_key(key: str, now: datetime) -> ApiToken | None:
    """The live token of a key, or None. From here to the end of the transaction row security acts for that token."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT farm_id, token_id FROM find_token(%s)", [key_hash(key)])
        found = cursor.fetchone()
    if found is None:
        return None
    act_for_token(*found)
    token = ApiToken.objects.select_related("farm", "made_by").filter(farm_id=found[0], id=found[1]).first()
    return token if token is not None and token.is_live(now) else None
