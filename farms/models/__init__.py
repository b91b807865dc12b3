from farms.models.access import ApiToken, Consent, FeedAddress, GroupMember, Membership, PhoneCode, SignInLink
from farms.models.agreement import Acceptance, AdviserDeclaration, GroupTerms, SignedPaper
from farms.models.answer import FarmAnswer, OwnAnswer
from farms.models.chain import LedgerEntry, LedgerHead
from farms.models.closure import FarmClosure, RegionClosure
from farms.models.erasure import AccountErasure, ErasedFarm, ErasureRequest
from farms.models.farm import Facility, Farm, Season
from farms.models.group import Group, Holding, Region
from farms.models.head import DailyHead, ErasedRow, HeadLeaf, SigningKey
from farms.models.invitation import GroupInvitation, Invitation
from farms.models.log import LogEvent
from farms.models.offer import AdviserOffer
from farms.models.people import Person, User
from farms.models.promise import OpenPromise
from farms.models.retention import GroupRetention
from farms.models.visit import GroupVisitRules, LastFarmVisited, PlannedVisit

__all__ = [
    "Acceptance",
    "AccountErasure",
    "AdviserDeclaration",
    "AdviserOffer",
    "ApiToken",
    "Consent",
    "DailyHead",
    "ErasedFarm",
    "ErasedRow",
    "ErasureRequest",
    "Facility",
    "Farm",
    "FarmAnswer",
    "FarmClosure",
    "FeedAddress",
    "Group",
    "GroupInvitation",
    "GroupMember",
    "GroupRetention",
    "GroupTerms",
    "GroupVisitRules",
    "HeadLeaf",
    "Holding",
    "Invitation",
    "LastFarmVisited",
    "LedgerEntry",
    "LedgerHead",
    "LogEvent",
    "Membership",
    "OpenPromise",
    "OwnAnswer",
    "Person",
    "PhoneCode",
    "PlannedVisit",
    "Region",
    "RegionClosure",
    "Season",
    "SignInLink",
    "SignedPaper",
    "SigningKey",
    "User",
]
