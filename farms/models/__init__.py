from farms.models.access import ApiToken, Consent, FeedAddress, GroupMember, Membership, PhoneCode, SignInLink
from farms.models.answer import FarmAnswer, OwnAnswer
from farms.models.chain import LedgerEntry, LedgerHead
from farms.models.farm import Facility, Farm, Season
from farms.models.group import Group, Holding, Region
from farms.models.log import LogEvent
from farms.models.people import Person, User

__all__ = [
    "ApiToken",
    "Consent",
    "Facility",
    "Farm",
    "FarmAnswer",
    "FeedAddress",
    "Group",
    "GroupMember",
    "Holding",
    "LedgerEntry",
    "LedgerHead",
    "LogEvent",
    "Membership",
    "OwnAnswer",
    "Person",
    "PhoneCode",
    "Region",
    "Season",
    "SignInLink",
    "User",
]
