import pytest
from django.urls import reverse

from farms import services
from farms.models import Consent
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory, make_facility, make_farm, make_stations, make_user
from tests.server.web.pages import words

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


def test_the_list_asks_the_database_no_more_for_more_farms(browser, dana, farms, django_assert_max_num_queries):
    client = browser(dana)
    with django_assert_max_num_queries(34):
        client.get(reverse("monday"))
