"""The coordinator's pages about advisers who leave, and the owner's yes or no to the next one."""

import re

import pytest
from django.urls import reverse

from alerts.services import let_adviser_leave
from farms.models import AdviserOffer, ApiToken, Farm, GroupMember, Membership, OpenPromise, User
from farms.offers import promises_of
from farms.services import Plan, Successor, add_member, end_membership, give_consent, plan_visit
from tests.cast import NOW, acting, as_factory, make_user
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
DAY = "2026-06-15"


def page_of(user: User, name: str = "adviser") -> str:
    role = GroupMember.objects.get(user=user, role="adviser")
    return reverse(name, args=[role.group_id, role.id])


def leave(dana: User, erik: User, successor: User | None = None) -> None:
    from datetime import date

    role = GroupMember.objects.get(user=dana)
    follows = Successor(successor, date.fromisoformat(DAY)) if successor else None
    with acting(erik):
        let_adviser_leave(role=role, successor=follows, by=erik, now=NOW)


def test_a_coordinator_lets_an_adviser_leave_and_names_the_next(browser, northfield: Farm, group, erik, dana, fay):
    with acting(dana):
        plan_visit(farm=northfield, plan=Plan("visit", NOW.date()), by=dana, now=NOW)
    client, list_of_them = browser(erik), reverse("advisers", args=[group.id])
    assert "Who advises, who left and who takes over" in words(client.get(reverse("group", args=[group.id])))
    assert "Leaves the group Dana" in words(client.get(list_of_them))
    asked = words(client.get(page_of(dana)))
    assert "nobody yet" in asked and "all farms" in asked and "Dana leaves now" in asked
    sent = {"successor_id": str(fay.id), "region_id": "", "begins_on": DAY}
    done = client.post(page_of(dana), sent, follow=True)
    told = words(done)
    assert "Dana has left the group and sees none of its farms." in told
    assert "1 farm: Fay, from" in told and "nothing said yet" in told
    assert "Still promised, and nobody has it yet:" in told and "a visit" in told
    assert "Northfield" not in told
    assert browser(dana).get(at("farm", northfield)).status_code == 404


def test_a_refusal_keeps_what_was_chosen(browser, northfield: Farm, erik, dana, fay):
    sent = {"successor_id": str(fay.id), "region_id": "", "begins_on": "2026-06-14"}
    refused = browser(erik).post(page_of(dana), sent)
    assert refused.status_code == 422 and "told in its next weekly mail, and has time to say no" in words(refused)
    assert GroupMember.objects.get(user=dana).ended_at is None


def test_somebody_without_a_day_is_asked_for_one(browser, northfield: Farm, erik, dana, fay):
    sent = {"successor_id": str(fay.id), "region_id": "", "begins_on": ""}
    refused = browser(erik).post(page_of(dana), sent)
    assert refused.status_code == 422 and "Choose a day." in words(refused)
    assert GroupMember.objects.get(user=dana).ended_at is None


def test_nobody_yet_and_somebody_later(browser, northfield: Farm, erik, anna, dana, fay):
    client = browser(erik)
    told = words(client.post(page_of(dana), {"successor_id": "", "region_id": "", "begins_on": DAY}, follow=True))
    assert "1 farm: nobody named yet" in told
    assert "Nobody is named yet to take over" in words(browser(anna).get(at("farm", northfield)))
    sent = {"successor_id": str(fay.id), "region_id": str(northfield.region_id), "begins_on": DAY}
    assert "1 farm is asked." in words(client.post(page_of(dana), sent, follow=True))


def test_the_owner_is_told_and_says_yes(browser, northfield: Farm, erik, anna, ben, dana, fay):
    leave(dana, erik, fay)
    shown = words(browser(anna).get(at("farm", northfield)))
    assert "Your adviser Dana has left. Fay would take over from" in shown and "Yes, from today" in shown
    seen_by_ben = words(browser(ben).get(at("farm", northfield)))
    assert "Yes, from today" not in seen_by_ben
    with acting(anna):
        offer = AdviserOffer.objects.get(ended_at__isnull=True)
    address = at("answer_offer", northfield, adviser_offer_id=offer.id)
    for other, status in ((ben, 403), (fay, 404), (dana, 404), (erik, 404)):
        assert browser(other).post(address, {"answer": "yes"}).status_code == status
    client = browser(anna)
    assert "Fay may see the farm now." in words(client.post(address, {"answer": "yes"}, follow=True))
    assert "answered already" in words(client.post(address, {"answer": "no"}, follow=True))
    assert browser(fay).get(at("farm", northfield)).status_code == 200


def test_the_owner_says_no(browser, northfield: Farm, erik, anna, dana, fay):
    leave(dana, erik, fay)
    with acting(anna):
        offer = AdviserOffer.objects.get(ended_at__isnull=True)
    address = at("answer_offer", northfield, adviser_offer_id=offer.id)
    assert "Fay won't see the farm." in words(browser(anna).post(address, {"answer": "no"}, follow=True))
    assert browser(fay).get(at("farm", northfield)).status_code == 404


def test_the_farm_reads_what_can_still_happen(browser, southmead: Farm, group, erik, carla, dana, fay):
    with acting(carla):
        give_consent(farm=southmead, kind="adviser", adviser=dana, whoever_follows=True, by=carla, now=NOW)
    leave(dana, erik, fay)
    assert "; you may say no. Yes, from today" in words(browser(carla).get(at("farm", southmead)))
    olga = make_user("Olga")
    with acting(carla):
        add_member(farm=southmead, user=olga, role="owner", by=carla, now=NOW)
        end_membership(membership=Membership.objects.get(farm=southmead, user=carla), by=carla, now=NOW)
    client = browser(olga)
    assert "sees nothing of the farm before you say yes" in words(client.get(at("farm", southmead)))
    leave(fay, erik)
    assert "Nobody is named yet to take over; you will be told." in words(client.get(at("farm", southmead)))
    told = words(browser(erik).get(reverse("advisers", args=[group.id])))
    assert "1 farm: nobody named yet" in told and "Fay, from" not in told


def test_phones_that_joined_by_the_codes_of_who_left_are_named(browser, northfield: Farm, erik, anna, ben, dana, fay):
    for by, name in ((dana, "Feed room phone"), (anna, "Calf barn phone")):
        digits = re.search(r"\b\d{4} \d{4}\b", words(browser(by).post(at("phones", northfield))))
        browser().post(reverse("phone"), {"code": digits[0], "name": name})
    owner = browser(anna)
    assert "joined by a code of" not in words(owner.get(at("phones", northfield)))
    leave(dana, erik, fay)
    told = "Farm phones that joined by a code of Dana go on counting: Feed room phone."
    assert told in words(owner.get(at("farm", northfield)))
    assert told not in words(browser(ben).get(at("farm", northfield)))
    listed = words(owner.get(at("phones", northfield)))
    assert "Feed room phone joined by a code of Dana, who sees this farm no longer." in listed
    assert "Calf barn phone joined" not in listed
    with as_factory():
        phone = ApiToken.objects.get(name="Feed room phone")
    owner.post(at("switch_off_phone", northfield, token_id=phone.id))
    assert "go on counting" not in words(owner.get(at("farm", northfield)))
    assert "joined by a code of" not in words(owner.get(at("phones", northfield)))


def test_a_promise_is_taken_over_or_passed_on(browser, northfield: Farm, group, erik, anna, dana, fay):
    with acting(dana):
        for kind in ("visit", "call"):
            plan_visit(farm=northfield, plan=Plan(kind, NOW.date()), by=dana, now=NOW)
    leave(dana, erik, fay)
    office = browser(erik)
    nothing = office.post(page_of(dana, "pass_promises"), {"adviser_id": str(fay.id)}, follow=True)
    assert "Nothing was passed on" in words(nothing)
    with acting(anna):
        offer = AdviserOffer.objects.get(ended_at__isnull=True)
        first = promises_of(northfield).first()
    browser(anna).post(at("answer_offer", northfield, adviser_offer_id=offer.id), {"answer": "yes"})
    client = browser(fay)
    assert "Promised by an adviser who left" in words(client.get(at("visits", northfield)))
    took = client.post(at("take_promise_over", northfield, open_promise_id=first.id), follow=True)
    assert "It is yours now." in words(took)
    passed = office.post(page_of(dana, "pass_promises"), {"adviser_id": str(fay.id)}, follow=True)
    assert "1 promise is Fay's now." in words(passed)
    with as_factory():
        assert not OpenPromise.objects.filter(taken_at__isnull=True).exists()


def test_strangers_find_nothing(browser, northfield: Farm, group, anna, carla, dana, fay):
    pages = (reverse("advisers", args=[group.id]), page_of(dana))
    for user, status in ((anna, 403), (dana, 403), (fay, 403), (carla, 404)):
        assert [browser(user).get(page).status_code for page in pages] == [status] * 2
        assert browser(user).post(pages[1], {"successor_id": ""}).status_code == status
        assert browser(user).post(page_of(dana, "pass_promises"), {}).status_code == status
    assert GroupMember.objects.get(user=dana).ended_at is None
