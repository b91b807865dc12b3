"""Notes on calls: from the line of the Monday list and back to it; the farm's people read them."""

import pytest
from django.urls import reverse

from alerts.models import CallNote
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
NOTE = {"text": "The back wall is wet.", "step": "ask about the waterer", "step_on": "2026-06-05"}


def test_an_adviser_notes_a_call_from_the_list_and_comes_back_to_its_line(browser, dana, northfield):
    client, listed = browser(dana), reverse("monday")
    page = client.get(listed, {"show": "", "sort": "name", "bad": "x"}).content.decode()
    assert f'{at("call_notes", northfield)}?list=sort%3Dname"' in page
    form = client.get(at("call_notes", northfield), {"list": "sort=name"}).content.decode()
    assert '<input type="hidden" name="list" value="sort=name">' in form
    sent = client.post(at("call_notes", northfield), NOTE | {"list": "sort=name&next=//evil.example"})
    assert sent.url == f"{listed}?sort=name#farm-{northfield.id}"
    told = words(client.get(listed))
    assert "It is noted for Northfield." in told
    assert "Promised (Jun 5): ask about the waterer" in told
    assert "Noted Jun 1 (Dana): The back wall is wet." in told


def test_what_is_promised_and_due_is_a_filter_until_it_is_done(browser, dana, northfield):
    client = browser(dana)
    client.post(at("call_notes", northfield), NOTE | {"step_on": "2026-06-01"})
    due = words(client.get(reverse("monday"), {"show": "promised"}))
    assert "Northfield" in due and "Promised for today: ask about the waterer" in due
    back = client.post(at("step_done", northfield), {"list": "show=promised"})
    assert back.url == f"{reverse('monday')}?show=promised#farm-{northfield.id}"
    assert "Northfield: the next step is done." in words(client.get(back.url))
    again = words(client.post(at("step_done", northfield), follow=True))
    assert "No next step is open here." in again and "The next step was done." in again


def test_a_refusal_keeps_what_was_typed(browser, dana, northfield):
    answer = browser(dana).post(at("call_notes", northfield), NOTE | {"step_on": "", "list": ""})
    assert answer.status_code == 422
    assert "A next step has words and a day." in words(answer) and "ask about the waterer" in answer.content.decode()
    assert 'name="list" value=""' in answer.content.decode()
    with as_factory():
        assert not CallNote.objects.exists()


def test_the_farms_people_read_it_and_write_nothing(browser, anna, ben, carla, erik, dana, northfield):
    empty = words(browser(anna).get(at("call_notes", northfield)))
    assert "What the adviser notes after a call stands here." in empty
    browser(dana).post(at("call_notes", northfield), NOTE)
    for user in (anna, ben):
        page = words(browser(user).get(at("call_notes", northfield)))
        assert "The back wall is wet." in page and "ask about the waterer" in page and "Keep the note" not in page
        assert browser(user).post(at("call_notes", northfield), NOTE).status_code == 403
        assert browser(user).post(at("step_done", northfield)).status_code == 403
    for user in (carla, erik):
        assert browser(user).get(at("call_notes", northfield)).status_code == 404
        assert browser(user).post(at("call_notes", northfield), NOTE).status_code == 404
        assert browser(user).post(at("step_done", northfield)).status_code == 404


def test_the_visits_page_leads_there(browser, anna, northfield):
    assert at("call_notes", northfield) in browser(anna).get(at("visits", northfield)).content.decode()
