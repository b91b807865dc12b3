"""Every page says where it is: a trail of the pages above it, but for those that nothing stands above."""

import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.urls import reverse

from tests.server.web.test_strangers import ROUTES

TEMPLATES = Path(settings.BASE_DIR) / "server" / "web" / "templates"
# In the head of every page, or the first that somebody sees: the farm's own page is the first of what is the farm's.
FIRST_PAGES = {"home", "choose", "farm", "monday", "search", "feeds", "your_mails", "mails", "phone"}
FIRST_PAGES |= {"shown", "look", "waiting", "without_signal", "spray_record"}
# Of somebody who came by an address alone, and may not be signed in.
BY_ADDRESS = {"mail_choice", "mail_choice_unknown", "sign_in_link", "invitation", "tag", "tag_of_another_farm"}
# A farm phone sees no page of the farm that one could go back to.
ON_A_PHONE = {"plan_to_count"}
WITHOUT = FIRST_PAGES | BY_ADDRESS | ON_A_PHONE


def test_every_template_of_a_page_has_a_trail():
    pages = {path.stem: path.read_text() for path in (TEMPLATES / "web").glob("*.html")}
    assert {name for name, text in pages.items() if "block trail" not in text} == WITHOUT


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_every_page_of_a_farm_a_group_and_a_region_shows_it(browser, anna, dana, erik, northfield):
    values = {"farm_id": northfield.id, "group_id": northfield.group_id, "region_id": northfield.region_id}
    shown: dict[str, bool] = {}
    for name, ids in ROUTES.items():
        if not ids or not set(ids) <= values.keys():
            continue
        address = reverse(name, kwargs={each: values[each] for each in ids})
        for user in (anna, dana, erik):
            _note(shown, name, browser(user).get(address))
    assert len(shown) > 35
    assert {name for name, has_trail in shown.items() if not has_trail} <= FIRST_PAGES


def _note(shown: dict[str, bool], name: str, answer: Any) -> None:
    if answer.status_code == 200 and answer.headers["Content-Type"].startswith("text/html"):
        page = answer.content.decode()
        shown[name] = bool(re.search(r'<nav class="trail"[^>]*><ol><li><a href="/', page))
