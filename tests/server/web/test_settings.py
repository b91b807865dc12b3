import re

import pytest
from django.urls import reverse
from django.utils import timezone

from alerts.selectors import levels_of
from farms.models import ApiToken, Consent, Person, Season
from farms.services import Yes, accept_agreement, add_person
from server.web.words import full_day
from tests.cast import NOW, acting, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


def test_an_adviser_adds_somebody_who_counts(browser, dana, northfield):
    answered = browser(dana).post(at("people", northfield), {"name": "Lucia", "initials": "LU"}, follow=True)
    assert "Lucia can be tapped as counting now." in words(answered)
    with as_factory():
        assert Person.objects.get(farm=northfield).name == "Lucia"


def test_a_missing_name_is_told_beside_its_field_and_nothing_typed_is_lost(browser, dana, northfield):
    answered = browser(dana).post(at("people", northfield), {"name": "  ", "initials": "LU"})
    assert answered.status_code == 422
    assert 'value="LU"' in answered.content.decode()


def test_somebody_who_left_is_taken_off_the_list(browser, anna, northfield):
    with acting(anna):
        lucia = add_person(farm=northfield, name="Lucia", initials="LU", now=NOW)
    answered = browser(anna).post(at("end_person", northfield, person_id=lucia.id), follow=True)
    assert "Lucia is no longer on the list." in words(answered)
    with as_factory():
        assert Person.objects.get(id=lucia.id).ended_at == NOW


def test_a_recorder_sets_nothing(browser, ben, northfield):
    client = browser(ben)
    for name in ("people", "phones", "levels", "seasons", "consents", "keys"):
        assert client.get(at(name, northfield)).status_code == 403


def test_an_adviser_neither_agrees_for_the_farm_nor_makes_keys(browser, dana, northfield):
    client = browser(dana)
    assert client.get(at("consents", northfield)).status_code == 403
    assert client.post(at("agree_region", northfield)).status_code == 403
    assert client.post(at("keys", northfield), {"name": "x", "scope": "write", "days": "30"}).status_code == 403
    with as_factory():
        assert not ApiToken.objects.exists()
        assert Consent.objects.count() == 1


def test_a_phones_code_is_shown_once_big_and_as_a_picture(browser, dana, northfield):
    client = browser(dana)
    shown = client.post(at("phones", northfield))
    digits = re.search(r"\b\d{4} \d{4}\b", words(shown))
    assert digits and "<svg" in shown.content.decode()
    assert "no-store" in shown["Cache-Control"]
    assert digits[0] not in words(client.get(at("phones", northfield)))
    other = browser()
    assert other.post(reverse("phone"), {"code": digits[0]}).status_code == 302


def test_a_phone_is_switched_off_and_an_adviser_can_not_reach_a_key_that_way(browser, anna, dana, northfield):
    owner, adviser = browser(anna), browser(dana)
    owner.post(at("keys", northfield), {"name": "milk program", "scope": "write", "days": "30"})
    with as_factory():
        key = ApiToken.objects.get(farm=northfield)
    assert adviser.post(at("switch_off_phone", northfield, token_id=key.id)).status_code == 404
    with as_factory():
        assert ApiToken.objects.get(id=key.id).revoked_at is None
    digits = re.search(r"\b\d{4} \d{4}\b", words(adviser.post(at("phones", northfield))))
    browser().post(reverse("phone"), {"code": digits[0], "name": "barn phone"})
    with as_factory():
        phone = ApiToken.objects.get(farm=northfield, scope="count")
    answered = adviser.post(at("switch_off_phone", northfield, token_id=phone.id), follow=True)
    assert "barn phone is switched off" in words(answered)


def test_a_key_is_shown_once(browser, anna, northfield):
    client = browser(anna)
    shown = client.post(at("keys", northfield), {"name": "milk program", "scope": "read", "days": "180"})
    key = re.search(r"fly_[A-Za-z0-9_-]{43}", words(shown))
    assert key and "no-store" in shown["Cache-Control"]
    later = words(client.get(at("keys", northfield)))
    assert "milk program never used" in later and key[0] not in later
    assert browser().get("/api/v1/me", headers={"authorization": f"Bearer {key[0]}"}).status_code == 200
    assert f"milk program last used {full_day(timezone.now())}" in words(client.get(at("keys", northfield)))
    with as_factory():
        made = ApiToken.objects.get(farm=northfield)
    assert "is switched off" in words(client.post(at("switch_off_key", northfield, token_id=made.id), follow=True))


def test_the_owner_withdraws_from_the_adviser_who_is_a_stranger_from_then_on(browser, anna, dana, northfield):
    client, adviser = browser(anna), browser(dana)
    assert adviser.get(at("people", northfield)).status_code == 200
    assert "Dana sees the farm since Jun 1, 2026." in words(client.get(at("consents", northfield)))
    with as_factory():
        consent = Consent.objects.get(farm=northfield)
    client.post(at("withdraw", northfield, consent_id=consent.id))
    assert adviser.get(at("people", northfield)).status_code == 404
    client.post(at("agree_adviser", northfield), {"adviser": str(dana.id)})
    assert adviser.get(at("people", northfield)).status_code == 200


def test_only_an_adviser_of_the_group_can_be_let_in(browser, anna, carla, northfield):
    refused = browser(anna).post(at("agree_adviser", northfield), {"adviser": str(carla.id)})
    assert refused.status_code == 422


def test_the_owner_lets_the_farm_count_in_the_region(browser, anna, northfield):
    with acting(anna):
        accept_agreement(farm=northfield, yes=Yes("2026-1", "en"), by=anna, now=NOW)
    client = browser(anna)
    client.post(at("agree_region", northfield))
    client.post(at("agree_region", northfield))  # pressed twice
    with as_factory():
        assert Consent.objects.filter(farm=northfield, kind="regional", withdrawn_at__isnull=True).count() == 1


def test_a_barns_own_action_level_is_kept_with_its_reason(browser, dana, northfield, calf_barn):
    sent = {"method": "card", "facility": str(calf_barn.id), "value": "60", "valid_from": "2026-06-01"}
    client = browser(dana)
    refused = client.post(at("levels", northfield), sent | {"reason": ""})
    assert refused.status_code == 422
    shown = client.post(at("levels", northfield), sent | {"reason": "The farm shop is next door."}, follow=True)
    assert "Calf barn spot cards more than 60 specks a card this building's own" in words(shown)
    with acting(dana):
        applying = levels_of(northfield, NOW.date())
    assert applying.of("card", calf_barn.id).value == 60
    assert applying.of("card").value == 100


def test_a_level_for_the_past_is_refused_beside_its_day(browser, dana, northfield):
    sent = {"method": "card", "facility": "", "value": "60", "valid_from": "2026-05-01", "reason": "because"}
    refused = browser(dana).post(at("levels", northfield), sent)
    assert refused.status_code == 422
    assert 'id="id_valid_from_error"' in refused.content.decode()


def test_a_season_is_closed_and_another_opened(browser, anna, northfield):
    client = browser(anna)
    with as_factory():
        season = Season.objects.get(farm=northfield)
    overlapping = client.post(at("seasons", northfield), {"opens_on": "2026-07-01"})
    assert overlapping.status_code == 422 and "Another season of this farm holds these days" in words(overlapping)
    early = client.post(at("close_season", northfield, season_id=season.id), {"closes_on": "2026-01-01"})
    assert early.status_code == 422
    client.post(at("close_season", northfield, season_id=season.id), {"closes_on": "2026-05-31"})
    opened = client.post(at("seasons", northfield), {"opens_on": "2026-06-01"}, follow=True)
    assert "The season is open." in words(opened)


def test_the_day_of_the_mail_is_chosen_and_who_chose_stays(browser, dana, northfield):
    client = browser(dana)
    assert "Now: Monday" in words(client.get(at("mail_day", northfield)))
    shown = words(client.post(at("mail_day", northfield), {"weekday": "3"}, follow=True))
    assert "The weekly mail goes out on that day from now on." in shown and "Now: Wednesday" in shown
    assert "Wednesday Dana" in shown
    assert "Day of the mail Wednesday" in words(client.get(at("settings", northfield)))


def test_a_day_that_is_none_is_refused_on_the_page(browser, dana, northfield):
    assert browser(dana).post(at("mail_day", northfield), {"weekday": "8"}).status_code == 422


def test_the_day_of_the_mail_is_no_strangers_and_no_recorders_to_choose(browser, ben, carla, northfield):
    assert browser(ben).post(at("mail_day", northfield), {"weekday": "3"}).status_code == 403
    assert browser(carla).post(at("mail_day", northfield), {"weekday": "3"}).status_code == 404
