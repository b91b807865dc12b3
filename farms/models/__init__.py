from farms.models.access import ApiToken, Consent, GroupMember, Membership, PhoneCode, SignInLink
from farms.models.chain import LedgerEntry, LedgerHead
from farms.models.farm import Facility, Farm, Season
from farms.models.group import Group, Holding, Region
from farms.models.people import Person, User

__all__ = [
    "ApiToken",
    "Consent",
    "Facility",
    "Farm",
    "Group",
    "GroupMember",
    "Holding",
    "LedgerEntry",
    "LedgerHead",
    "Membership",
    "Person",
    "PhoneCode",
    "Region",
    "Season",
    "SignInLink",
    "User",
]
