"""Sprays, pour-ons and baits on pages: noted with their record, confirmed, changed; clocks told as the label's."""

import pytest
from django.urls import reverse
from django.utils import timezone

from monitoring.models import Application, CertificateAsked, CertifierAnswer, OrganicMark, Product, SprayerLink
from monitoring.services import (
    WorkDone,
    WorkPlanned,
    Writer,
    list_product,
    make_sprayer_link,
    mark_organic,
    plan_work,
    record_by_link,
    record_work,
)
from tests.cast import NOW, acting, as_factory
from tests.monitoring.applying import HOUR, LABEL, applied, note
from tests.monitoring.sending import STAFF
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
LABEL_TYPED = {
    "name": "Invented Wall Spray", "registration_number": "00000-1", "substances": "inventedthrin",
    "irac_groups": "3a", "kind": "residual", "reentry_words": "until sprays have dried", "reentry_hours": "12",
    "milk_hours": "", "meat_days": "3",
}  # fmt: skip
# NOW is 7:00 at Northfield, on Monday, June 1.
TYPED = {
    "facility_id": "", "place": "north wall", "target": "house_flies", "amount": "2.5", "amount_unit": "gal",
    "area": "450", "area_unit": "m2", "animals": "", "begins_on": "2026-06-01", "begins_clock": "05:00",
    "ends_clock": "06:00", "applicator": "Pat Invented", "certificate": "C-123", "uncertified": "", "done_for": "",
}  # fmt: skip
# From the evening before until half past one.
NIGHT = {"begins_on": "2026-05-31", "begins_clock": "22:00", "ends_on": "2026-06-01", "ends_clock": "01:30"}


def rows():
    with as_factory():
        return list(Application.objects.order_by("recorded_at", "id"))


class TestNoting:
    def test_the_whole_record_is_typed_and_shown(self, browser, ben, northfield):
        client = browser(ben)
        sent = client.post(at("new_application", northfield), LABEL_TYPED | TYPED)
        assert (sent.status_code, sent.url) == (302, at("applications", northfield))
        [row] = rows()
        assert (row.name, row.irac_groups, row.ends_at) == ("Invented Wall Spray", ["3A"], NOW - HOUR)
        told = words(client.get(at("application", northfield, application_id=row.id)))
        for part in ("2.5 gallons", "450 square meters", "Pat Invented, certificate C-123", "north wall", "3A"):
            assert part in told
        assert "Kept out" in words(client.get(at("count", northfield)))

    def test_one_that_went_over_midnight_has_the_day_on_which_it_ended(self, browser, ben, northfield):
        client = browser(ben)
        assert client.post(at("new_application", northfield), LABEL_TYPED | TYPED | NIGHT).status_code == 302
        [row] = rows()
        assert (row.begins_at, row.ends_at) == (NOW - 9 * HOUR, NOW - 5.5 * HOUR)
        page = at("application", northfield, application_id=row.id)
        assert "Sunday, May 31, 2026, 22:00 to Monday, June 1, 2026, 01:30" in words(client.get(page))
        mend = at("mend_application", northfield, application_id=row.id)
        assert 'name="ends_on" value="2026-06-01"' in client.get(mend).content.decode()

    def test_of_the_same_day_no_second_day_is_typed(self, browser, ben, northfield):
        client = browser(ben)
        client.post(at("new_application", northfield), LABEL_TYPED | TYPED | {"ends_on": "2026-06-01"})
        [row] = rows()
        assert row.ends_at == NOW - HOUR
        told = words(client.get(at("application", northfield, application_id=row.id)))
        assert "Monday, June 1, 2026, 05:00 to 06:00" in told
        for page in (at("mend_application", northfield, application_id=row.id), at("new_application", northfield)):
            typed = client.get(page).content.decode().split('name="ends_on"')[1].split(">")[0]
            assert "value=" not in typed

    def test_a_product_of_the_list_brings_its_label(self, browser, ben, northfield, group, erik):
        product = list_product(group=group, label=LABEL, by=erik, now=NOW)
        client, page = browser(ben), at("new_application_of", northfield, product_id=product.id)
        assert "inventedthrin" in words(client.get(page))
        assert client.post(page, TYPED).status_code == 302
        assert (rows()[0].product_id, rows()[0].reentry_hours) == (product.id, 12)

    @pytest.mark.parametrize(
        ("wrong", "says"),
        [
            ({"begins_clock": "09:00", "ends_clock": "09:30"}, "still to come"),
            ({"begins_on": "9999-12-31"}, "Check the day and its year"),
            ({"ends_on": "9999-12-31"}, "Check the day and its year"),
            ({"ends_on": "tomorrow"}, "Type the day as year-month-day"),
            ({"ends_on": "2026-06-02"}, "still to come"),
            ({"ends_on": "2026-05-31"}, "Correct one of the two times"),
            ({"begins_clock": "06:30"}, "If it went on after midnight, choose the day on which it ended"),
            ({"begins_on": "2026-05-24", "begins_clock": "05:30", "ends_on": "2026-06-01"}, "more than seven days"),
            ({"amount": "a bucket"}, "Type a number in digits"),
            ({"amount_unit": "bucket"}, "Select a valid choice"),
            ({"amount_unit": ""}, "Choose one"),
            ({"area": "", "area_unit": ""}, "number of animals"),
            ({"irac_groups": "A3"}, "“A3”"),
            ({"applicator": ""}, "required"),
            ({"meat_days": "1.5"}, "whole number"),
            ({"begins_on": "2026-03-08", "begins_clock": "02:30", "ends_clock": "04:00"}, "doesn't exist"),
        ],
    )
    def test_what_cant_be_right_stays_on_the_page_with_a_sentence(self, browser, anna, northfield, wrong, says):
        refused = browser(anna).post(at("new_application", northfield), LABEL_TYPED | TYPED | wrong)
        assert refused.status_code == 422
        assert says in words(refused)
        assert 'value="north wall"' in refused.content.decode()
        assert rows() == []

    def test_a_script_in_a_note_is_text(self, browser, anna, northfield):
        client = browser(anna)
        client.post(at("new_application", northfield), LABEL_TYPED | TYPED | {"place": "<script>alert(1)</script>"})
        page = client.get(at("applications", northfield)).content.decode()
        assert "<script>alert" not in page and "&lt;script&gt;alert" in page

    def test_whoever_applied_last_is_there_already(self, browser, anna, northfield):
        client = browser(anna)
        client.post(at("new_application", northfield), LABEL_TYPED | TYPED)
        assert 'value="Pat Invented"' in client.get(at("new_application", northfield)).content.decode()

    def test_a_stranger_gets_nothing_a_phone_neither(self, browser, carla, northfield, anna):
        with acting(anna):
            row = note(northfield)
        client = browser(carla)
        for page in (
            at("applications", northfield), at("new_application", northfield), at("sprayer_links", northfield),
            at("application", northfield, application_id=row.id), at("organic", northfield),
        ):  # fmt: skip
            assert client.get(page).status_code == 404


class TestChangingAndConfirming:
    def test_both_records_are_shown_with_the_reason(self, browser, anna, northfield):
        with acting(anna):
            first = note(northfield)
        client = browser(anna)
        page = at("mend_application", northfield, application_id=first.id)
        assert 'value="Invented Wall Spray"' in client.get(page).content.decode()
        assert client.post(page, LABEL_TYPED | TYPED).status_code == 422
        assert client.post(page, LABEL_TYPED | TYPED | {"why": "wrong amount"}).status_code == 302
        later = rows()[-1]
        told = words(client.get(at("application", northfield, application_id=later.id)))
        assert "“wrong amount”" in told and "Before it was changed" in told
        assert "Changed since" in words(client.get(at("application", northfield, application_id=first.id)))

    def test_an_owner_confirms_what_a_sprayer_filled_in(self, browser, anna, dana, ben, northfield):
        with acting(anna):
            row = note(northfield, by=Writer(STAFF, through_link=True))
        assert "Waits for an owner's word" in words(browser(anna).get(at("applications", northfield)))
        page = at("confirm_application", northfield, application_id=row.id)
        assert browser(dana).post(page, {"so": "yes"}).status_code == 403
        assert browser(ben).post(page, {"so": "yes"}).status_code == 403
        client = browser(anna)
        refused = client.post(page, {"so": "no", "reason": ""})
        assert refused.status_code == 422 and "what is not so" in words(refused)
        assert client.post(page, {"so": "yes"}).status_code == 302
        assert "so it was." in words(client.get(at("application", northfield, application_id=row.id)))

    def test_what_waits_is_read_for_owners_alone(self, browser, anna, ben, northfield, monkeypatch):
        with acting(anna):
            note(northfield, by=Writer(STAFF, through_link=True))
        told = words(browser(ben).get(at("applications", northfield)))
        assert "Waits for an owner's word" not in told and "no owner has confirmed it yet" in told
        monkeypatch.delattr("server.web.views.applications.waiting_applications_of")
        assert browser(ben).get(at("applications", northfield)).status_code == 200
        with pytest.raises(NameError):
            browser(anna).get(at("applications", northfield))


class TestPlanned:
    def test_what_is_asked_first_is_shown_with_a_box_to_tick(self, browser, anna, northfield, calf_barn):
        with acting(anna):
            record_work(farm=northfield, work=WorkDone("wasps", NOW.date(), calf_barn), actor=STAFF, now=NOW)
        client, page = browser(anna), at("planned_works", northfield)
        typed = {"kind": "application", "facility": str(calf_barn.id), "use_kind": "residual", "unit": "week",
                 "first_day": "2026-06-02"}  # fmt: skip
        assert "That was thought of" not in words(client.get(page))
        asked = client.post(page, typed)
        assert asked.status_code == 422
        assert "Parasitic wasps were released there" in words(asked) and "That was thought of" in words(asked)
        assert client.post(page, typed | {"thought_of": "on"}).status_code == 302

    def test_its_record_takes_the_place_and_the_day_from_the_plan(self, browser, anna, northfield, calf_barn):
        plan = WorkPlanned("application", NOW.date(), calf_barn, use_kind="residual")
        with acting(anna):
            row = plan_work(farm=northfield, plan=plan, actor=STAFF, now=NOW)
        client = browser(anna)
        page = f"{at('new_application', northfield)}?planned={row.id}&day=2026-06-01"
        initial = client.get(page).context["form"].initial
        assert initial["facility_id"] == str(calf_barn.id)
        hidden = {"planned": str(row.id), "planned_for": "2026-06-01"}
        assert client.post(page, LABEL_TYPED | TYPED | hidden | {"facility_id": str(calf_barn.id)}).status_code == 302
        assert (rows()[0].planned_id, str(rows()[0].planned_for)) == (row.id, "2026-06-01")
        assert "done on Jun 1" in words(client.get(at("planned_work", northfield, planned_work_id=row.id)))


class TestLabelsClocks:
    def test_milk_and_meat_stand_on_the_farms_page_and_no_word_more(self, browser, ben, northfield):
        with acting(ben):
            note(northfield)
        told = words(browser(ben).get(at("farm", northfield)))
        assert "Milk: the label's time typed here runs until Tuesday, June 2, 2026, 05:00" in told
        assert "Meat: the label's time typed here runs until Thursday, June 4" in told

    def test_it_stands_among_what_was_done_and_leads_to_its_record(self, browser, ben, northfield, cards):
        with acting(ben):
            row = note(northfield)
        page = browser(ben).get(at("farm", northfield))
        assert "Jun 1: residual spray, on walls and surfaces" in words(page)
        assert f'href="{at("application", northfield, application_id=row.id)}"' in page.content.decode()
        assert "Nothing noted yet" not in words(page)
        told = words(browser(ben).get(at("application", northfield, application_id=row.id)))
        assert "Did it work?" in told

    def test_after_its_end_it_is_told_as_ended_for_a_day(self, browser, ben, northfield):
        begins = NOW - 30 * HOUR
        with acting(ben):
            note(northfield, applied({"meat_days": None}, begins_at=begins, ends_at=begins))
        told = words(browser(ben).get(at("farm", northfield)))
        assert "Milk: the label's time typed here has ended on" in told and "ask whoever applied it" in told


class TestHiredSprayer:
    def link(self, farm, by):
        with acting(by):
            return make_sprayer_link(farm=farm, by=by, actor=STAFF, now=timezone.now())[1]

    def test_the_address_is_shown_once_and_fills_in_one_record(self, browser, anna, northfield, client):
        page = browser(anna).post(at("sprayer_links", northfield)).content.decode()
        address = page.split("<code>")[1].split("</code>")[0]
        path = address[address.index("/spray-record/") :]
        assert address not in browser(anna).get(at("sprayer_links", northfield)).content.decode()
        opened = client.get(path)
        assert opened.status_code == 200 and "Northfield asks you" in words(opened)
        assert "Calf barn" in opened.content.decode()
        assert client.post(path, LABEL_TYPED | TYPED | {"amount_unit": "bucket"}).status_code == 422
        assert "Thank you" in words(client.post(path, LABEL_TYPED | TYPED))
        again = client.post(path, LABEL_TYPED | TYPED)
        assert again.status_code == 410 and "Ask the farm for a new one" in words(again)
        assert len(rows()) == 1 and rows()[0].through_link

    def test_a_sprayer_says_on_which_day_it_ended(self, browser, anna, northfield, client):
        page = reverse("spray_record", args=[self.link(northfield, anna)])
        assert "Day it ended" in words(client.get(page))
        refused = client.post(page, LABEL_TYPED | TYPED | NIGHT | {"ends_on": ""})
        assert refused.status_code == 422 and "If it went on after midnight" in words(refused)
        assert "Thank you" in words(client.post(page, LABEL_TYPED | TYPED | NIGHT))
        assert rows()[0].ends_at == NOW - 5.5 * HOUR
        told = words(browser(anna).get(at("applications", northfield)))
        assert "Sunday, May 31, 2026, 22:00 to Monday, June 1, 2026, 01:30" in told

    def test_whoever_sends_it_second_is_told_that_it_is_used(self, anna, northfield, client, monkeypatch):
        key = self.link(northfield, anna)

        def by_two(**sent):
            record_by_link(**sent)
            return record_by_link(**sent)

        monkeypatch.setattr("server.web.views.spray_record.record_by_link", by_two)
        second = client.post(reverse("spray_record", args=[key]), LABEL_TYPED | TYPED)
        assert second.status_code == 410 and "Ask the farm for a new one" in words(second)
        assert len(rows()) == 1

    def test_what_opens_nothing_is_answered_alike(self, client, anna, northfield):
        key = self.link(northfield, anna)
        with as_factory():
            SprayerLink.objects.update(withdrawn_at=timezone.now())
        withdrawn, wrong = (client.get(reverse("spray_record", args=[each])) for each in (key, "x" * 43))
        assert (withdrawn.status_code, wrong.status_code) == (410, 410)
        assert withdrawn.headers["Cache-Control"] == "no-store"

        def told(response):
            return response.content.split(b"<main")[1]

        assert told(withdrawn) == told(wrong)

    def test_a_link_is_taken_back(self, browser, anna, northfield, client):
        key = self.link(northfield, anna)
        with as_factory():
            link = SprayerLink.objects.get()
        browser(anna).post(at("withdraw_sprayer_link", northfield, sprayer_link_id=link.id))
        assert client.get(reverse("spray_record", args=[key])).status_code == 410

    def test_an_insecticide_stays_off_an_organic_farm_for_a_sprayer_too(self, client, anna, northfield):
        key = self.link(northfield, anna)
        with acting(anna):
            mark_organic(farm=northfield, is_organic=True, from_on=NOW.date(), actor=STAFF, now=NOW)
        refused = client.post(reverse("spray_record", args=[key]), LABEL_TYPED | TYPED)
        assert refused.status_code == 422 and "Ask the certifier first" in words(refused)
        assert client.get(reverse("spray_record", args=[key])).status_code == 200


class TestOrganic:
    def test_mark_and_answer_are_kept(self, browser, dana, northfield):
        client, page = browser(dana), at("organic", northfield)
        assert client.post(page, {"is_organic": "yes", "from_on": "2026-05-01"}).status_code == 302
        typed = {"product_name": "Invented Wall Spray", "registration_number": "00000-1",
                 "asked_on": "2026-05-02", "answered_on": "2026-05-09", "said": "allowed", "words": ""}  # fmt: skip
        answers = at("certifier_answer", northfield)
        assert client.post(answers, typed | {"answered_on": "2026-05-01"}).status_code == 422
        assert client.post(answers, typed).status_code == 302
        with as_factory():
            assert OrganicMark.objects.get().is_organic
            assert CertifierAnswer.objects.get().said == "allowed"
        assert "asked May 2, 2026, answered May 9, 2026" in words(client.get(page))

    def test_a_recorder_may_not(self, browser, ben, northfield):
        assert browser(ben).get(at("organic", northfield)).status_code == 403


class TestProducts:
    def test_advisers_and_coordinators_keep_the_list_the_farms_read_it(
        self, browser, dana, erik, anna, carla, group, northfield
    ):
        page = reverse("products", args=[group.id])
        assert browser(dana).post(page, LABEL_TYPED).status_code == 302
        assert "Invented Wall Spray" in words(browser(anna).get(page))
        assert browser(anna).post(page, LABEL_TYPED).status_code == 403
        assert browser(carla).get(page).status_code == 404
        assert browser(erik).post(page, LABEL_TYPED | {"irac_groups": "??"}).status_code == 422
        with as_factory():
            assert Product.objects.count() == 1

    def test_typed_anew_and_taken_off_every_row_stays(self, browser, dana, group):
        client = browser(dana)
        first = list_product(group=group, label=LABEL, by=dana, now=NOW)
        page = reverse("product", args=[group.id, first.id])
        assert 'value="inventedthrin"' in client.get(page).content.decode()
        assert client.post(page, LABEL_TYPED | {"reentry_hours": "24"}).status_code == 302
        assert client.post(page, LABEL_TYPED).status_code == 422  # changed already
        with as_factory():
            second = Product.objects.get(replaces=first)
        client.post(reverse("take_product_off", args=[group.id, second.id]))
        assert "No product is on the list yet" in words(client.get(reverse("products", args=[group.id])))
        with as_factory():
            assert Product.objects.count() == 3

    def test_the_certificate_is_asked_for(self, browser, erik, group):
        client = browser(erik)
        client.post(reverse("ask_certificate", args=[group.id]), {"asked": "yes"})
        with as_factory():
            assert CertificateAsked.objects.get().asked


def test_every_form_carries_the_law_and_no_dose(browser, anna, northfield, client):
    for page in (at("new_application", northfield), at("applications", northfield)):
        told = words(browser(anna).get(page))
        assert "The label is the law" in told and "licensed applicators decide" in told
