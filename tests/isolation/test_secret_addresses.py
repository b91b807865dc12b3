"""Addresses that are themselves a secret: what they tell is their person's own, and it ends with what it rests on."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.db import transaction
from django.utils import timezone

from alerts.delivery.choice_address import Reader, choice_token
from alerts.models.mail_choice import MailKind
from alerts.services.choice_key import keys_to_sign
from farms import services
from farms.models import Consent, Membership, SignInLink
from farms.models.access import FeedKind
from farms.services import make_feed, make_sign_in_link
from tests.cast import acting, as_factory
from tests.isolation.asks import Ask
from tests.isolation.farm_tables import everything_of
from tests.isolation.markers import Markers, content_of
from tests.isolation.scene import NOW, Asker, FarmScene, Scene
from tests.isolation.walls import WAYS, only
from tests.server.api.senders import Sender

ENDINGS = {FeedKind.CALENDAR: "rounds.ics", FeedKind.MATTERS: "matters.atom"}


def feed(asker: Asker, kind: FeedKind) -> str:
    """The address of a new feed of somebody."""
    assert asker.user is not None
    with acting(asker.user):
        _feed, key = make_feed(user=asker.user, kind=kind, now=NOW)
    return f"/feeds/{key}/{ENDINGS[kind]}"


def get(address: str) -> Any:
    """Asked by a program that knows nothing but the address."""
    # Nobody is held against what somebody else tried before.
    cache.clear()
    return Sender().get(address, HTTP_X_REQUEST_ID="the-same")


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", ENDINGS)
def test_a_feed_tells_nothing_of_a_farm_that_its_person_may_not_see(
    scene: Scene, kind: FeedKind, way: str, record_property: Any
):
    told = {}
    for asker in (each for each in scene.askers.values() if each.user):
        with only(way):
            address = feed(asker, kind)
            answer = get(address)
            assert Markers(scene, asker).in_answer(answer, Ask("get", address)) == set(), asker.name
            own = [farm for farm in scene.farms.values() if asker.may_see(farm)]
            # Without a farm to tell of there is no feed.
            assert answer.status_code == (200 if own else 404), asker.name
            told[asker.name] = [farm.word.encode() in content_of(answer) for farm in own]
    record_property(f"asked with {way}: feeds at their secret addresses", len(told))
    assert all(told["owner"]) and told["owner"] and told["coordinator"] == []


@pytest.mark.parametrize("kind", ENDINGS)
def test_a_feed_is_dead_for_a_farm_the_moment_membership_or_consent_ends(scene: Scene, kind: FeedKind):
    home = scene.farms["home"]
    recorder, adviser = scene.askers["recorder"], scene.askers["adviser"]
    with only("both walls"):
        addresses = {asker.name: feed(asker, kind) for asker in (recorder, adviser)}
        assert all(home.word.encode() in content_of(get(address)) for address in addresses.values())
        with as_factory():
            Membership.objects.filter(farm=home.farm, user=recorder.user).update(ended_at=NOW)
        with acting(home.owner):
            consent = Consent.objects.get(farm=home.farm, adviser=adviser.user)
            services.withdraw_consent(consent=consent, by=home.owner, now=NOW)
        assert not any(home.word.encode() in content_of(get(address)) for address in addresses.values())


@pytest.mark.parametrize("way", WAYS)
def test_the_address_in_a_mail_shows_and_chooses_its_readers_own_and_nobody_elses(scene: Scene, way: str):
    """Each person of the scene, of each farm: what opens is their own farm's, whatever else the address says."""
    for asker in (each for each in scene.askers.values() if each.user):
        for farm in scene.farms.values():
            address = choice_of(asker, farm)
            before = everything_of([each.farm.id for each in scene.strangers_to(asker)])
            with only(way), transaction.atomic():
                answers = [get(address), Sender().post(address, {"List-Unsubscribe": "One-Click"}, format="multipart")]
                for answer in answers:
                    assert Markers(scene, asker).in_answer(answer, Ask("get", address)) == set(), asker.name
                    assert answer.status_code == (200 if farm.owner == asker.user else 404), (asker.name, farm.name)
                assert everything_of([each.farm.id for each in scene.strangers_to(asker)]) == before
                transaction.set_rollback(True)


def choice_of(asker: Asker, farm: FarmScene) -> str:
    """The address in a mail of this farm to somebody, rightly signed."""
    assert asker.user is not None
    token = choice_token(Reader(asker.user.id, MailKind.DIGEST, farm.farm.id), keys_to_sign(NOW))
    return f"/mail-choice/{token}/"


def test_a_key_of_the_other_feed_or_of_a_token_opens_nothing(scene: Scene):
    owner = scene.askers["owner"]
    with only("both walls"):
        calendar = feed(owner, FeedKind.CALENDAR)
        nowhere = get(f"/feeds/{'x' * 43}/matters.atom")
        wrong = get(calendar.replace("rounds.ics", "matters.atom"))
        assert (wrong.status_code, wrong.content) == (nowhere.status_code, nowhere.content) == (404, wrong.content)
        token = scene.askers["writing token"].sender.key
        assert get(f"/feeds/{token}/rounds.ics").content == nowhere.content
        # Nor does a feed's key act as a token.
        as_token = Sender(calendar.split("/")[2]).get(f"/api/v1/farms/{scene.farms['home'].farm.id}")
        assert as_token.status_code == 401


def test_a_mailed_link_acts_on_post_only_and_for_its_own_person(scene: Scene):
    home, neighbour = scene.farms["home"], scene.farms["neighbour"]
    with only("both walls"), transaction.atomic():
        key = make_sign_in_link(user=neighbour.owner, now=timezone.now(), valid_for=timedelta(hours=1))
        browser = Sender()
        for _ in range(3):
            page = browser.get(f"/sign-in/link/{key}/")
            assert page.status_code == 200 and "sessionid" not in browser.cookies
            assert not any(farm.word.encode() in page.content for farm in scene.farms.values())
        assert not SignInLink.objects.filter(user=neighbour.owner, used_at__isnull=False).exclude(used_at=NOW).exists()
        assert browser.post(f"/sign-in/link/{key}/").status_code == 302
        seen = [browser.get(f"/api/v1/farms/{farm.farm.id}").status_code for farm in (neighbour, home)]
        assert seen == [200, 404]
