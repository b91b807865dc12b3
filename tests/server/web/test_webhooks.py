"""The page of a farm's webhooks."""

import pytest

from alerts.models import Webhook
from alerts.models.webhook import HookProblem
from alerts.services import NewWebhook, end_webhook, make_webhook, switch_webhook
from farms.models import LogEvent
from tests.cast import NOW, acting, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
FORM = {"address": "https://hooks.example.org/in", "kinds": ["alert.opened"]}


def test_an_owner_adds_one_and_sees_its_secret_once(browser, anna, northfield):
    client = browser(anna)
    page = client.post(at("webhooks", northfield), FORM)
    assert "whsec_" in words(page) and "It can't be shown again." in words(page)
    again = words(client.get(at("webhooks", northfield)))
    assert "whsec_" not in again and "https://hooks.example.org/in" in again and "nothing taken yet" in again
    assert "1 program told at once" in words(client.get(at("settings", northfield)))
    assert "webhook made" in words(client.get(at("log", northfield)))


def test_what_is_wrong_stands_beside_the_field(browser, anna, northfield):
    page = browser(anna).post(at("webhooks", northfield), FORM | {"address": "https://192.168.1.9/"})
    assert page.status_code == 422 and "Write the address as https://name/path" in words(page)
    page = browser(anna).post(at("webhooks", northfield), {"address": FORM["address"]})
    assert page.status_code == 422 and "Name one kind at least." in words(page)


def test_an_owner_switches_and_takes_away(browser, anna, northfield):
    client = browser(anna)
    client.post(at("webhooks", northfield), FORM)
    with as_factory():
        webhook = Webhook.objects.get()
    switch = at("switch_webhook", northfield, webhook_id=webhook.id)
    page = words(client.post(switch, {"on": "no"}, follow=True))
    assert "The webhook is switched off." in page and "off: switched off by an owner" in page
    assert "The webhook is switched on." in words(client.post(switch, {"on": "yes"}, follow=True))
    ended = words(client.post(at("end_webhook", northfield, webhook_id=webhook.id), follow=True))
    assert "taken away" in ended and "hooks.example.org" not in ended


def test_the_log_has_one_word_for_the_host(anna, northfield):
    """However its owner wrote it, and without what may be a secret of the receiver's."""
    with acting(anna):
        new = NewWebhook("https://Hooks.Example.org:8443/in?key=secret", ["alert.opened"])
        webhook, _secret = make_webhook(farm=northfield, new=new, by=anna, now=NOW)
        switch_webhook(webhook=webhook, on=False, by=anna, now=NOW)
        end_webhook(webhook=webhook, by=anna, now=NOW)
    with as_factory():
        rows = list(LogEvent.objects.filter(kind__startswith="webhook").values_list("kind", "about"))
    assert len(rows) == 3 and {about for _kind, about in rows} == {"hooks.example.org"}


def test_the_page_says_why_nothing_got_through(browser, anna, northfield):
    client = browser(anna)
    client.post(at("webhooks", northfield), FORM)
    with as_factory():
        Webhook.objects.update(failures=3, problem=HookProblem.STATUS, status=503)
    page = words(client.get(at("webhooks", northfield)))
    assert "3 tries in a row failed: it answered with an error (503)" in page
    with as_factory():
        Webhook.objects.update(off_at=NOW, off_because="failing")
    assert "off: nothing got through for three days" in words(client.get(at("webhooks", northfield)))


def test_nobody_else_comes_in(browser, anna, ben, dana, carla, northfield):
    browser(anna).post(at("webhooks", northfield), FORM)
    with as_factory():
        webhook = Webhook.objects.get()
    for user, status in ((ben, 403), (dana, 403), (carla, 404)):
        client = browser(user)
        assert client.get(at("webhooks", northfield)).status_code == status
        for name in ("switch_webhook", "end_webhook"):
            assert client.post(at(name, northfield, webhook_id=webhook.id), {"on": "no"}).status_code == status
    with as_factory():
        assert Webhook.objects.get().is_on
