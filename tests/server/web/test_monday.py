import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from farms import services
from farms.kept import forget
from farms.models import Consent, Farm
from tests.alerts.large_group import make_group_of
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory, make_facility, make_farm, make_stations, make_user
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def farms(group, region, dana, northfield, cards):
    """Northfield over its level, Quietwater below, Lapsed not counted since three weeks; all advised by Dana."""
    made = {"Northfield": cards}
    for name in ("Quietwater", "Lapsed"):
        owner = make_user(f"{name}-owner")
        farm = make_farm(name, region, owner)
        made[name] = make_stations(make_facility(farm, "Calf barn", "calf_barn", 1), "card", range(1, 6))
        with acting(owner):
            services.give_consent(farm=farm, kind="adviser", adviser=dana, by=owner, now=NOW)
    for number in range(8):
        count_week(made["Northfield"], monday(number), [20 + 15 * number] * 4 + [150])
        count_week(made["Quietwater"], monday(number), [20, 22, 19, 25, 18])
        if number < 4:
            count_week(made["Lapsed"], monday(number), [30] * 5)
        check(group, monday(number))
    return made


def test_the_list_says_whom_to_call_first_and_why(browser, dana, farms):
    page = words(browser(dana).get(reverse("monday")))
    assert "Week of May 25" in page and "3 farms" in page
    call, ask, fine = page.index("Call first"), page.index("Ask"), page.index("Nothing pressing")
    assert call < page.index("Northfield") < ask < page.index("Lapsed") < fine < page.index("Quietwater")
    assert "no round for" in page and "cards over" in page


def test_each_line_leads_to_its_farm_with_a_ring_and_a_line_of_weeks(browser, dana, farms):
    page = browser(dana).get(reverse("monday")).content.decode()
    assert page.count('class="weeks-line"') == 3
    assert 'class="level-over"' in page and 'class="level-below"' in page


def test_an_earlier_week_can_be_looked_at_and_a_later_one_not(browser, dana, farms):
    client = browser(dana)
    assert "Week of May 4" in words(client.get(reverse("monday"), {"week": "2026-05-06"}))
    assert "Week of May 25" in words(client.get(reverse("monday"), {"week": "2027-01-01"}))
    assert "Week of May 25" in words(client.get(reverse("monday"), {"week": "not a day"}))


def test_a_farm_that_withdraws_is_gone_from_the_list(browser, anna, dana, northfield, farms):
    with as_factory():
        consent = Consent.objects.get(farm=northfield, kind="adviser")
    with acting(anna):
        services.withdraw_consent(consent=consent, by=anna, now=NOW)
    assert "Northfield" not in words(browser(dana).get(reverse("monday")))


def test_only_advisers_have_a_list(browser, anna, carla, erik, northfield):
    for user in (anna, carla, erik):
        assert browser(user).get(reverse("monday")).status_code == 404
    assert browser().get(reverse("monday")).status_code == 302


def test_the_list_asks_the_database_the_same_for_three_farms_and_for_thirty(browser, dana, region, farms):
    client = browser(dana)
    client.get(reverse("monday"))  # whoever comes first starts the process' own caches
    forget()
    with CaptureQueriesContext(connection) as of_three:
        client.get(reverse("monday"))
    with CaptureQueriesContext(connection) as unchanged:
        client.get(reverse("monday"))
    with as_factory():
        more = make_group_of(region, 27)
        Consent.objects.bulk_create(
            Consent(farm=farm, kind="adviser", adviser=dana, given_by=dana, given_at=NOW, entry=0) for farm in more
        )
    forget()
    with CaptureQueriesContext(connection) as of_thirty:
        assert "30 farms" in words(client.get(reverse("monday")))
    assert len(of_thirty) == len(of_three) <= 42
    assert len(unchanged) <= 27


def shown(response) -> list[str]:
    """The farms on the list, in its order."""
    return re.findall(r'class="farm-name"[^>]*>([^<]+)<', response.content.decode())


@pytest.mark.parametrize(("asked", "farms_shown"), [
    ({}, ["Northfield", "Lapsed", "Quietwater"]),
    ({"show": "call"}, ["Northfield"]),
    ({"show": "silent"}, ["Lapsed"]),
    ({"show": "promised"}, []),
    ({"show": "untold"}, []),
    ({"q": "  QUIÉT "}, ["Quietwater"]),
    ({"q": "nowhere"}, []),
    ({"sort": "name"}, ["Lapsed", "Northfield", "Quietwater"]),
    ({"sort": "days"}, ["Lapsed", "Northfield", "Quietwater"]),
    ({"sort": "open", "show": "call"}, ["Northfield"]),
    ({"sort": "no such", "show": "no such", "region": "no such"}, ["Northfield", "Lapsed", "Quietwater"]),
])  # fmt: skip
def test_it_is_filtered_and_sorted_by_its_address(browser, dana, farms, asked, farms_shown):
    assert shown(browser(dana).get(reverse("monday"), asked)) == farms_shown


def test_it_is_filtered_by_region_and_says_what_to_do_where_nothing_is_left(browser, dana, farms, region, elsewhere):
    with as_factory():
        Farm.objects.filter(name="Lapsed").update(region=elsewhere)
    client = browser(dana)
    assert shown(client.get(reverse("monday"), {"region": elsewhere.id})) == ["Lapsed"]
    empty = words(client.get(reverse("monday"), {"region": elsewhere.id, "show": "call"}))
    assert "No farm is like that. Show every farm, or type less of the name." in empty and "3 farms" in empty


def test_a_region_without_a_farm_of_hers_is_no_filter(browser, dana, farms, southmead):
    page = browser(dana).get(reverse("monday"), {"region": southmead.region_id})
    assert len(shown(page)) == 3 and "Upper Valley" not in words(page)


def test_sorted_otherwise_each_line_says_where_it_would_stand(browser, dana, farms):
    page = words(browser(dana).get(reverse("monday"), {"sort": "name"}))
    assert "Lapsed Ask · no round for" in page and "Northfield Call first ·" in page


def test_each_reason_leads_to_its_evidence(browser, dana, farms, northfield):
    client = browser(dana)
    page = client.get(reverse("monday")).content.decode()
    ways = dict(re.findall(r'<a class="why" href="([^"]+)">([^<]+)<', page))
    (matter,) = (address for address, reason in ways.items() if reason == "cards over")
    assert matter.startswith(at("farm", northfield) + "matters/")
    assert ways[at("farm", northfield) + "#done"] == "no work noted"
    assert any(address.endswith("/rounds/") and "no round for" in reason for address, reason in ways.items())
    for address in ways:
        assert client.get(address.partition("#")[0]).status_code == 200


def test_who_has_not_sent_says_since_when(browser, dana, farms):
    assert "Has not sent since May 4." in words(browser(dana).get(reverse("monday")))
