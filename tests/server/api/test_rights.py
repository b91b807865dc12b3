"""What each role and token may do, asked of every route: members without the right get 403, and nothing is stored."""

from typing import Any

import pytest

from farms.models import Farm, User
from server.api.views import OnFarm
from tests.server.api.bodies import everything_stored
from tests.server.api.routes import Route, routes
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
ON_FARM = [route for route in routes() if "{farm_id}" in route.template]
# What each may beyond reading (or in the phone's place: at all). Written out, so that a slip in the views shows.
PHONE_MAY = {"get people", "get people/{person_id}", "get round-sheet", "put rounds/{round_id}"}
WRITING_MAY = PHONE_MAY | {
    "post skips", "post works", "post reentries", "post applications", "post readings/bulk", "post imports",
    "post works/{work_id}/taken-back", "post planned-works",
    "post planned-works/{planned_work_id}/left-out", "post planned-works/{planned_work_id}/end",
    "post readings/{reading_id}/corrections",
    "post alerts/{alert_id}/seen", "post alerts/{alert_id}/acknowledge", "post alerts/{alert_id}/later",
    "post alerts/{alert_id}/works", "post temperatures", "post walks", "post findings/{finding_id}/steps",
    "post findings/{finding_id}/corrections",
}  # fmt: skip
OWNERS_ONLY = {
    "get log", "get exports/farm-archive.zip",
    "get tokens", "post tokens", "delete tokens/{token_id}", "post consents", "delete consents/{consent_id}",
    "patch farms/{farm_id}", "get webhooks", "post webhooks", "post webhooks/{webhook_id}/switched",
    "delete webhooks/{webhook_id}", "post adviser-offers/{adviser_offer_id}/answer", "post agreement/acceptances",
    "post applications/{application_id}/check",
    "get erasures", "post erasures", "post erasures/people", "post erasures/{erasure_request_id}/taken-back",
}  # fmt: skip

# What an adviser does as the one who comes: an owner plans nobody's visits.
ADVISERS_ONLY = {"post visits", "post told", "post told/taken-back"}


def short(route: Route) -> str:
    return str(route).replace("farms/{farm_id}/", "")


def ask(sender: Sender, farm: Farm, route: Route) -> Any:
    return getattr(sender, route.method)(route.address(farm_id=farm.id), **route.body())


def let_in(sender: Sender, farm: Farm) -> set[str]:
    """The routes that don't answer 403; what else they say about made-up ids and bodies doesn't matter here."""
    answers = {short(route): ask(sender, farm, route) for route in ON_FARM}
    assert {404, 403} >= {answer.status_code for answer in answers.values() if answer.status_code in (401, 403)}
    return {name for name, answer in answers.items() if answer.status_code != 403}


# A mail is a letter to an owner; the adviser reads it by the farm's consent, and prints it for who has no address.
MAILS = {"get mails", "get mails/{digest_id}", "get letter"}
# What was signed for the farm: its owners and its adviser.
AGREED = {"get agreement", "get agreement/acceptances"}
OF_OWNERS = {
    "get tokens", "get log", "get webhooks", "get sprayer-links", "get exports/farm-archive.zip", "get erasures",
}  # fmt: skip
# What was recorded of which kind and when, also what no key and nobody who only counts is told of.
EVIDENCE = {"get exports/evidence.json", "get head", "get report.pdf", "get report.html", "get report.xlsx"}
# What neighbours and inspectors said: its owners' and its advisers' alone.
COMPLAINED = {"get complaints", "get complaints/{complaint_id}"}
HELD_BACK = PHONE_MAY | MAILS | AGREED | OF_OWNERS | EVIDENCE | COMPLAINED
READS = {short(route) for route in ON_FARM if route.method == "get"} - HELD_BACK
# Where a farm is, and when it is closed to visits, its people and advisers may know; no key.
PEOPLE_ONLY = {"get exports/stations.geojson", "get closures", "get closures/applied", "get visits", "get told"}
PEOPLE_ONLY |= {"get adviser-offers", "get promises"}  # names of people
PEOPLE_ONLY |= {"get cards-kept"}  # words of people
PEOPLE_ONLY |= {"get plan/picture"}  # a photo from above tells where the farm is
ALL = {short(route) for route in ON_FARM}


def test_a_reading_token_reads(reader: Sender, northfield: Farm):
    assert let_in(reader, northfield) == READS - PEOPLE_ONLY


def test_a_reading_token_stores_nothing(reader: Sender, northfield: Farm):
    before = everything_stored(northfield)
    for route in ON_FARM:
        if route.method != "get":
            assert_problem(ask(reader, northfield, route), 403, "forbidden")
    assert everything_stored(northfield) == before


def test_a_writing_token_reads_and_records(program: Sender, northfield: Farm):
    assert let_in(program, northfield) == (READS | WRITING_MAY) - PEOPLE_ONLY


def test_a_farm_phone_sends_rounds_and_nothing_else(phone: Sender, northfield: Farm):
    assert let_in(phone, northfield) == PHONE_MAY


def test_a_recorder_reads_and_records(ben: User, northfield: Farm):
    assert let_in(session_of(ben), northfield) == READS | WRITING_MAY


def test_an_adviser_may_all_but_what_is_the_owners(dana: User, northfield: Farm):
    assert let_in(session_of(dana), northfield) == ALL - OWNERS_ONLY


def test_an_owner_may_all_but_what_is_the_advisers(anna: User, northfield: Farm):
    assert let_in(session_of(anna), northfield) == ALL - ADVISERS_ONLY


def test_every_action_names_what_it_needs():
    views = list(OnFarm.__subclasses__())
    views += [child for view in views for child in view.__subclasses__()]
    usual = ("list", "retrieve", "create", "update", "partial_update", "destroy")
    for view in views:
        actions = {name for name in usual if hasattr(view, name)} | {each.__name__ for each in view.get_extra_actions()}
        assert actions <= set(view.needs), view
