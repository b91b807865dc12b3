"""What is written on the ground floor: one file a noun.

The caller has already come through `farms.access` and opened the transaction in which row security knows for whom it
acts. Every function takes `now` from its entry point.
"""

from farms.models.log import LogKind
from farms.models.offer import OfferAnswer
from farms.models.promise import PromiseKind
from farms.services.adviser import AdviserLeftAlready, Promise, end_adviser, farms_left_by, lock_role
from farms.services.closure import (
    ClosedAlready,
    ClosureDayWrong,
    NotClosed,
    close_farm,
    close_region,
    open_farm,
    open_region,
)
from farms.services.consent import AdviserUnknown, ConsentAlreadyGiven, give_consent, withdraw_consent
from farms.services.facility import FacilityNameTaken, HalfAPosition, add_facility, change_facility
from farms.services.farm import FarmAlreadyRegistered, FarmNameTaken, NewFarm, change_farm, register_farm
from farms.services.feed import FeedKindUnknown, FeedMadeMeanwhile, make_feed, note_feed_use, revoke_feed
from farms.services.guest import AlreadyGuest, GuestEndWrong, end_guest, invite_guest
from farms.services.language import LanguageUnknown, set_language
from farms.services.log import note_in_all_logs, note_in_log
from farms.services.membership import AlreadyMember, LastOwner, add_member, end_membership
from farms.services.offer import (
    AdviserStays,
    OfferAnswered,
    OfferAnswerUnknown,
    PromiseTaken,
    RegionElsewhere,
    Successor,
    SuccessorUnknown,
    TakeOverDayWrong,
    answer_offer,
    begin_due,
    check_successor,
    days_to_begin,
    name_successor,
    pass_promises,
    take_promise_over,
)
from farms.services.person import add_person, end_person, rename_person
from farms.services.phone import PhoneCodeWrong, make_phone_code, use_phone_code
from farms.services.season import SeasonClosesTooEarly, SeasonsOverlap, close_season, open_season
from farms.services.sign_in import SignInLinkSpent, make_sign_in_link, use_sign_in_link
from farms.services.token import TokenLifeWrong, make_token, revoke_token
from farms.services.visit import (
    LastFarmHalfTold,
    LastVisitAhead,
    Plan,
    VisitDayWrong,
    VisitKindUnknown,
    VisitRulesWrong,
    erase_last_farm,
    plan_visit,
    set_visit_rules,
    take_back_visit,
)

__all__ = [
    "AdviserLeftAlready",
    "AdviserStays",
    "AdviserUnknown",
    "AlreadyGuest",
    "AlreadyMember",
    "ClosedAlready",
    "ClosureDayWrong",
    "ConsentAlreadyGiven",
    "FacilityNameTaken",
    "FarmAlreadyRegistered",
    "FarmNameTaken",
    "FeedKindUnknown",
    "FeedMadeMeanwhile",
    "GuestEndWrong",
    "HalfAPosition",
    "LanguageUnknown",
    "LastFarmHalfTold",
    "LastOwner",
    "LastVisitAhead",
    "LogKind",
    "NewFarm",
    "NotClosed",
    "OfferAnswer",
    "OfferAnswerUnknown",
    "OfferAnswered",
    "PhoneCodeWrong",
    "Plan",
    "Promise",
    "PromiseKind",
    "PromiseTaken",
    "RegionElsewhere",
    "SeasonClosesTooEarly",
    "SeasonsOverlap",
    "SignInLinkSpent",
    "Successor",
    "SuccessorUnknown",
    "TakeOverDayWrong",
    "TokenLifeWrong",
    "VisitDayWrong",
    "VisitKindUnknown",
    "VisitRulesWrong",
    "add_facility",
    "add_member",
    "add_person",
    "answer_offer",
    "begin_due",
    "change_facility",
    "change_farm",
    "check_successor",
    "close_farm",
    "close_region",
    "close_season",
    "days_to_begin",
    "end_adviser",
    "end_guest",
    "end_membership",
    "end_person",
    "erase_last_farm",
    "farms_left_by",
    "give_consent",
    "invite_guest",
    "lock_role",
    "make_feed",
    "make_phone_code",
    "make_sign_in_link",
    "make_token",
    "name_successor",
    "note_feed_use",
    "note_in_all_logs",
    "note_in_log",
    "open_farm",
    "open_region",
    "open_season",
    "pass_promises",
    "plan_visit",
    "register_farm",
    "rename_person",
    "revoke_feed",
    "revoke_token",
    "set_language",
    "set_visit_rules",
    "take_back_visit",
    "take_promise_over",
    "use_phone_code",
    "use_sign_in_link",
    "withdraw_consent",
]
