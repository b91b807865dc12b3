"""How things are shown: a reader's own degrees and form of days, on pages, in mails, and on a farm's phone."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.template import Context, Template
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import override

from alerts.delivery.digest import letter_of
from alerts.wording.numbers import dated_label, dated_weekday_phrase, day_label, day_phrase, weekday_phrase
from alerts.wording.temperatures import degree_days, degrees
from farms.models import Farm, User
from farms.services import make_phone_code
from farms.showing import chosen, showing, shown, told_to
from monitoring.rules.temperatures import table_of_days
from monitoring.services import record_temperatures
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
JUNE_29 = date(2026, 6, 29)
LAST = monday(7)  # when it was counted last


@pytest.fixture
def warm(group, northfield, cards):
    days = [(NOW.date() - timedelta(days=back), 18.0, 30.0) for back in range(21)]
    record_temperatures(region=northfield.region, table=table_of_days(days), now=NOW)
    count_week(cards, monday(6), [20] * 5)
    check(group, monday(6))
    return northfield


def choose(client, degrees="", days=""):
    return client.post(reverse("shown"), {"degrees": degrees, "days": days}, follow=True)


def test_a_farm_in_the_united_states_is_told_in_fahrenheit_and_others_in_celsius(browser, anna, warm):
    assert "52.0 °F and 378 degree-days (°F) to the fly" in words(browser(anna).get(at("farm", warm)))
    with as_factory():
        Farm.objects.filter(id=warm.id).update(time_zone="America/Toronto")
    assert "11.1 °C and 210 degree-days (°C) to the fly" in words(browser(anna).get(at("farm", warm)))


def test_what_a_reader_chose_goes_before_what_is_usual_on_every_page(browser, anna, ben, warm):
    client = browser(anna)
    assert "Noted. It holds for the next mails, too." in words(choose(client, "C", "iso"))
    page = words(client.get(at("farm", warm)))
    assert "11.1 °C and 210 degree-days (°C) to the fly" in page
    assert "Week of 2026-05-18" in page and "May 18" not in page
    assert f"{LAST} form" in words(client.get(at("rounds", warm)))
    assert "2026-05-31 18.0 °C 64 °F" in words(client.get(at("temperatures", warm)))
    assert "Week of May 18" in words(browser(ben).get(at("farm", warm)))
    assert f"{LAST:%b} {LAST.day}, {LAST.year} form" in words(browser(ben).get(at("rounds", warm)))


def test_what_is_not_offered_is_refused_and_nothing_is_stored(browser, anna, northfield):
    refused = browser(anna).post(reverse("shown"), {"degrees": "K", "days": "iso"})
    assert refused.status_code == 422
    with as_factory():
        assert User.objects.get(id=anna.id).days == ""


def test_only_who_is_signed_in_or_a_farm_phone_may_choose(browser, anna, northfield):
    assert browser().get(reverse("shown")).status_code == 302
    assert browser().post(reverse("shown"), {"degrees": "C"}).status_code == 302
    with acting(anna):
        code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
    phone = browser()
    phone.post(reverse("phone"), {"code": code})
    assert "Noted, for this phone." in words(choose(phone, "C", "day_first"))
    page = phone.get(reverse("shown")).content.decode()
    assert 'value="day_first" id="id_days_1" checked' in page or ('value="day_first"' in page and "checked" in page)
    with as_factory():
        assert set(User.objects.values_list("degrees", flat=True)) == {""}
    phone.cookies["shown"] = "K.<script>"
    assert phone.get(reverse("shown")).status_code == 200


def test_a_mail_is_written_as_its_reader_reads(warm, anna):
    from alerts.selectors.farm_weeks import weeks_of_farms

    told = weeks_of_farms([warm], monday(6), NOW.date())[0]
    anna.days = "day_first"
    with told_to(anna, warm.time_zone):
        assert letter_of(told).week == "week of 18 May"
    anna.language, anna.days = "es", "iso"
    with told_to(anna, warm.time_zone):
        assert letter_of(told).week == "semana del 2026-05-18"


def test_a_day_with_its_year_is_that_of_the_pages_own_clock_and_nothing_for_none():
    late = datetime(2026, 12, 31, 23, 30, tzinfo=UTC)
    page = Template("{% load tz words %}{{ at|full_day }}|{{ at|timezone:zone|full_moment }}|{{ none|full_day }}")
    with timezone.override("UTC"), showing(chosen("", "day_first")):
        told = page.render(Context({"at": late, "zone": "Europe/Madrid", "none": None}))
    assert told.replace("\N{NO-BREAK SPACE}", " ") == "31 Dec 2026|1 Jan 2027, 00:30|"


def test_days_and_degrees_in_every_form():
    forms = {
        "": ("June 29", "Jun 29", "Monday, June 29", "Jun 29, 2026", "Monday, June 29, 2026"),
        "day_first": ("29 June", "29 Jun", "Monday 29 June", "29 Jun 2026", "Monday 29 June 2026"),
        "month_first": ("June 29", "Jun 29", "Monday, June 29", "Jun 29, 2026", "Monday, June 29, 2026"),
        "iso": ("2026-06-29", "2026-06-29", "Monday, 2026-06-29", "2026-06-29", "Monday, 2026-06-29"),
    }
    ways = (day_phrase, day_label, weekday_phrase, dated_label, dated_weekday_phrase)
    for days, told in forms.items():
        with showing(chosen("", days)):
            assert tuple(way(JUNE_29) for way in ways) == told
    with override("es"):
        assert (day_phrase(JUNE_29), dated_label(JUNE_29)) == ("29 de junio", "29 jun 2026")
        assert dated_weekday_phrase(JUNE_29) == "lunes, 29 de junio de 2026"
        with showing(chosen("", "day_first")):
            assert (day_phrase(JUNE_29), dated_label(JUNE_29)) == ("29 de junio", "29 jun 2026")
        with showing(chosen("", "month_first")):
            assert (day_phrase(JUNE_29), dated_label(JUNE_29)) == ("junio 29", "jun 29, 2026")
    # Water boils and freezes (definition); NIST SP 811 gives the factors: 9/5 and 32, and 9/5 alone of a difference.
    with showing(chosen("F", "")):
        assert (degrees(100), degrees(0), degrees(-40), degrees(11.1, 1)) == ("212 °F", "32 °F", "-40 °F", "52.0 °F")
        assert degree_days(225) == "405 degree-days (°F)"
    assert degrees(-0.2) == "0 °C" and shown().degrees == "C"
