"""Text messages: off by default, without a number, by day, once, and to a number that was shown to be its person's."""

import base64
import json
import re
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.utils.translation import override

from alerts import tasks
from alerts.delivery.hook_signature import key_of, signature
from alerts.delivery.text_call import TextNotTakenError, post, why_not
from alerts.delivery.text_messages import by_day, claim, queue_texts, send_due_texts
from alerts.delivery.text_sentences import text_of
from alerts.models import Digest, TextMessage, TextNumber
from alerts.services import (
    TextCodeOld,
    TextCodeWrong,
    TextNumberWrong,
    confirm_text_number,
    name_text_number,
    take_text_number_away,
)
from alerts.text_codes import code_of
from farms.models import Farm, Membership, User
from tests.alerts.test_outbox import make_digest
from tests.cast import acting, as_factory, as_role

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 17, tzinfo=UTC)  # in Chicago
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
KEY = "whsec_" + base64.b64encode(b"an invented key of 32 bytes, yes").decode()
# Numbers that no telephone has: kept free for stories (North American Numbering Plan; memory, no source at hand).
NUMBER, OTHER = "+1 202 555 0143", "+12025550172"
WRITTEN = "+12025550143"
# 3GPP TS 23.038, 6.2.1: the letters and signs of the default alphabet that the sentences may use.
GSM = set(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmnopqrstuvwxyzäöñüà"
)


class Service(ThreadingHTTPServer):
    """A text message service: answers with `status`, and remembers what it was sent."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Ear)
        self.came: list[tuple[dict[str, str], bytes]] = []
        self.status = 202

    @property
    def sent(self) -> list[dict[str, str]]:
        return [json.loads(body) for _headers, body in self.came]


class Ear(BaseHTTPRequestHandler):
    server: Service

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.came.append(({name.lower(): value for name, value in self.headers.items()}, body))
        self.send_response(self.server.status)
        self.send_header("Location", "http://127.0.0.1:9/elsewhere")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *args: object) -> None:
        """Silent."""


@pytest.fixture
def service(settings) -> Iterator[Service]:
    server = Service()
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    settings.TEXT_MESSAGE_URL = f"http://127.0.0.1:{server.server_port}/texts"
    settings.TEXT_MESSAGE_KEY, settings.TEXT_MESSAGE_MAY_BE_PLAIN = KEY, True
    settings.SITE_URL = "https://flies.example.org"
    yield server
    server.shutdown()
    server.server_close()


def make_number(user: User, *, at: datetime = NOON - DAY, number: str = NUMBER) -> TextNumber:
    """Named and confirmed."""
    with acting(user):
        named = name_text_number(user=user, number=number, now=at)
        confirm_text_number(user=user, code=code_of(named), now=at)
    with as_factory():
        TextMessage.objects.filter(recipient=user).delete()
    return named


def ring(now: datetime = NOON) -> dict[str, int]:
    with as_role("worker"):
        queue_texts(now)
        return dict(send_due_texts(now))


def row() -> TextMessage:
    with as_factory():
        return TextMessage.objects.get()


def pressing(farm: Farm, owner: User, occasion: str = "2026-W22", *, at: datetime = NOON) -> None:
    """A mail with something to look at, written at a moment."""
    row = make_digest(farm, owner, occasion)
    with as_factory():
        Digest.objects.filter(id=row.id).update(queued_at=at)


class TestWho:
    def test_an_owner_with_a_number_is_told_once_that_a_mail_has_something(self, service, northfield, anna):
        make_number(anna)
        pressing(northfield, anna)
        assert ring() == {"sent": 1}
        assert ring(NOON + HOUR) == {}
        (told,) = service.sent
        assert told["to"] == WRITTEN and told["text"].endswith("https://flies.example.org/")

    def test_nobody_is_told_of_a_quiet_week_nor_without_a_number(self, service, northfield, anna):
        pressing(northfield, anna)
        assert ring() == {}
        make_number(anna)
        with as_factory():
            Digest.objects.update(needs_a_look=False)
        assert ring() == {} and not service.came

    def test_an_owner_of_two_farms_is_told_once_a_week_and_of_both_occasions(
        self, service, northfield, southmead, anna
    ):
        make_number(anna)
        with as_factory():
            Membership.objects.create(farm=southmead, user=anna, role="owner", began_at=NOON - DAY)
        pressing(northfield, anna)
        pressing(southmead, anna)
        pressing(northfield, anna, "2026-W23-midweek")
        assert ring() == {"sent": 2}
        assert sorted("before the next" in each["text"] for each in service.sent) == [False, True]

    def test_a_number_that_is_not_shown_to_be_theirs_gets_the_code_alone(self, service, northfield, anna):
        with acting(anna):
            named = name_text_number(user=anna, number=NUMBER, now=NOON - HOUR / 2)
        pressing(northfield, anna)
        assert ring() == {"sent": 1}
        assert code_of(named) in service.sent[0]["text"]

    def test_a_mail_from_before_the_number_was_confirmed_sends_no_message(self, service, northfield, anna):
        pressing(northfield, anna)
        make_number(anna, at=NOON + HOUR)
        assert ring(NOON + 2 * HOUR) == {}

    def test_who_is_no_owner_any_more_is_told_nothing(self, service, northfield, anna):
        make_number(anna)
        pressing(northfield, anna)
        with as_role("worker"):
            queue_texts(NOON)
        with as_factory():
            Membership.objects.filter(user=anna).update(ended_at=NOON)
        assert ring() == {"unwanted": 1} and not service.came

    def test_a_number_taken_away_gets_nothing_of_what_waited(self, service, northfield, anna):
        make_number(anna)
        pressing(northfield, anna)
        with as_role("worker"):
            queue_texts(NOON)
        with acting(anna):
            assert take_text_number_away(user=anna) and not take_text_number_away(user=anna)
        assert ring() == {"unwanted": 1} and not service.came

    def test_a_mail_that_its_reader_does_not_want_or_that_does_not_arrive_is_told_of_all_the_same(
        self, service, northfield, anna
    ):
        make_number(anna)
        pressing(northfield, anna)
        with as_factory():
            Digest.objects.update(state="refused", reason="stopped")
        assert ring() == {"sent": 1}


class TestWhen:
    @pytest.mark.parametrize(
        ("local", "goes"),
        [
            ("2026-06-01T05:00", "2026-06-01T08:00"),
            ("2026-06-01T08:00", "2026-06-01T08:00"),
            ("2026-06-01T19:59", "2026-06-01T19:59"),
            ("2026-06-01T20:00", "2026-06-02T08:00"),
            # The night in which the clocks go forward in Chicago.
            ("2026-03-07T23:00", "2026-03-08T08:00"),
        ],
    )
    def test_nobody_is_woken(self, local, goes):
        chicago = ZoneInfo("America/Chicago")
        moment = datetime.fromisoformat(local).replace(tzinfo=chicago)
        assert by_day(moment.astimezone(UTC), "America/Chicago") == datetime.fromisoformat(goes).replace(tzinfo=chicago)

    def test_what_is_found_at_night_waits_for_the_farms_morning(self, service, northfield, anna):
        make_number(anna)
        night = datetime(2026, 6, 1, 10, 30, tzinfo=UTC)  # half past five in Chicago
        pressing(northfield, anna, at=night)
        assert ring(night) == {} and ring(night + 2 * HOUR) == {}
        assert ring(night + 2.5 * HOUR) == {"sent": 1}

    def test_what_could_not_leave_within_a_day_is_dropped(self, service, northfield, anna):
        make_number(anna)
        pressing(northfield, anna)
        service.status = 503
        assert ring() == {"queued": 1}
        service.status = 202
        assert ring(NOON + DAY + HOUR) == {"late": 1}
        assert len(service.came) == 1

    def test_a_code_comes_at_any_hour_and_never_late(self, service, anna):
        night = datetime(2026, 6, 1, 8, 0, tzinfo=UTC)
        with acting(anna):
            name_text_number(user=anna, number=NUMBER, now=night)
        service.status = 503
        assert ring(night) == {"queued": 1}
        assert ring(night + 2 * HOUR) == {"late": 1}


class TestWhatItSays:
    @pytest.mark.parametrize("language", ["en", "es"])
    @pytest.mark.parametrize("occasion", ["2026-W22", "2026-W22-midweek", "code-1780300800"])
    def test_no_number_one_message_and_the_plain_alphabet(self, settings, anna, language, occasion):
        """160 signs of the default alphabet of 3GPP TS 23.038 make one message, else 70."""
        settings.SITE_URL = "https://flies.some-longer-name.example.org"
        anna.language = language
        number = TextNumber(user=anna, number=WRITTEN, asked_at=NOON)
        text = text_of(TextMessage(recipient=anna, occasion=occasion), number)
        assert not re.search(r"\d", text), text
        assert len(text) <= (160 if set(text) <= GSM else 70), text
        with override("en"):
            assert (text_of(TextMessage(recipient=User(language="en"), occasion=occasion), number) == text) is (
                language == "en"
            )

    def test_it_is_signed_as_the_open_standard_says(self, service):
        """Standard Webhooks 1.0.0, symmetric signatures."""
        post("msg_1", NOON, number=WRITTEN, text="Something to look at.")
        ((headers, body),) = service.came
        assert json.loads(body) == {"to": WRITTEN, "text": "Something to look at."}
        assert headers["webhook-id"] == "msg_1" and headers["content-type"] == "application/json"
        wanted = signature(key_of(KEY), "msg_1", int(headers["webhook-timestamp"]), body)
        assert headers["webhook-signature"] == wanted


class TestFaults:
    def test_what_is_not_taken_is_tried_again_under_the_same_id(self, service, northfield, anna):
        make_number(anna)
        pressing(northfield, anna)
        service.status = 500
        assert ring() == {"queued": 1} and row().error == "status 500"
        assert ring(NOON + timedelta(seconds=29)) == {}
        service.status = 200
        assert ring(NOON + timedelta(seconds=31)) == {"sent": 1}
        first, second = (headers["webhook-id"] for headers, _body in service.came)
        assert first == second and (row().error, row().attempts) == ("", 2)

    @pytest.mark.parametrize(("status", "stopped"), [(410, True), (422, False)])
    def test_what_is_refused_for_good_is_not_tried_again(self, service, northfield, anna, status, stopped):
        make_number(anna)
        pressing(northfield, anna)
        service.status = status
        assert ring() == {"refused": 1} and ring(NOON + HOUR) == {}
        with as_factory():
            assert (TextNumber.objects.get().stopped_at is not None) is stopped
        service.status = 202
        pressing(northfield, anna, "2026-W23")
        assert ring(NOON + 2 * HOUR) == ({} if stopped else {"sent": 1})

    @pytest.mark.parametrize("status", [301, 400, 401, 404, 429])
    def test_a_fault_of_the_settings_loses_no_message(self, service, northfield, anna, status):
        make_number(anna)
        pressing(northfield, anna)
        service.status = status
        assert ring() == {"queued": 1} and len(service.came) == 1

    def test_a_service_that_is_away_is_asked_once_a_ring(self, settings, service, northfield, anna, ben):
        for owner in (anna, ben):
            make_number(owner)
        with as_factory():
            Membership.objects.filter(farm=northfield, user=ben).update(role="owner")
        pressing(northfield, anna)
        pressing(northfield, ben)
        settings.TEXT_MESSAGE_URL = "http://127.0.0.1:9/texts"
        assert ring() == {"queued": 1}

    def test_a_worker_that_died_leaves_it_to_the_next_and_two_at_once_send_it_once(self, service, northfield, anna):
        make_number(anna)
        pressing(northfield, anna)
        with as_role("worker"):
            queue_texts(NOON)
            dead, slow = TextMessage.objects.get(), TextMessage.objects.get()
            assert claim(dead, NOON) and not claim(slow, NOON)
        assert ring(NOON + timedelta(minutes=1)) == {}
        assert ring(NOON + timedelta(minutes=3)) == {"sent": 1}

    def test_no_text_message_is_sent_where_none_is_set(self, settings, service, northfield, anna):
        make_number(anna)
        pressing(northfield, anna)
        settings.TEXT_MESSAGE_URL = ""
        with as_role("worker"):
            tasks.send_text_messages()
        with as_factory():
            assert not TextMessage.objects.exists()

    @pytest.mark.parametrize(
        ("changed", "told"),
        [
            ({"TEXT_MESSAGE_URL": "texts.example.org"}, "no address"),
            ({"TEXT_MESSAGE_URL": "https://[half"}, "no address"),
            ({"TEXT_MESSAGE_MAY_BE_PLAIN": False}, "https://"),
            ({"TEXT_MESSAGE_KEY": "whsec_c2hvcnQ="}, "TEXT_MESSAGE_KEY"),
            ({"TEXT_MESSAGE_KEY": "no key"}, "TEXT_MESSAGE_KEY"),
            ({"TEXT_MESSAGE_KEY": ""}, "TEXT_MESSAGE_KEY"),
            ({"TEXT_MESSAGE_URL": "", "TEXT_MESSAGE_KEY": ""}, None),
        ],
    )
    def test_settings_that_cannot_be_right_are_told_and_nothing_is_called(self, settings, service, changed, told):
        for name, value in changed.items():
            setattr(settings, name, value)
        why = why_not()
        assert why is None if told is None else told in str(why)
        assert ring() == {} and not service.came

    def test_the_address_of_the_service_stands_in_no_error(self, settings):
        settings.TEXT_MESSAGE_URL, settings.TEXT_MESSAGE_KEY = "http://127.0.0.1:9/secret-path", KEY
        with pytest.raises(TextNotTakenError) as failure:
            post("msg_1", NOON, number=WRITTEN, text="Text")
        assert "secret-path" not in str(failure.value)


class TestTheNumber:
    @pytest.mark.parametrize("typed", ["+1 202 555 0143", "+1 (202) 555-0143", "+12025550143", " +1.202.555.0143 "])
    def test_it_may_be_written_as_people_do(self, anna, typed):
        with acting(anna):
            assert name_text_number(user=anna, number=typed, now=NOON).number == WRITTEN

    @pytest.mark.parametrize(
        "typed", ["202 555 0143", "+1 202 555", "+999 123456", "", "no number", "+1 202 555 0143 ext. 5", "+" * 40]
    )
    def test_what_no_telephone_can_have_is_refused_and_what_was_there_stays(self, anna, typed):
        make_number(anna)
        with acting(anna), pytest.raises(TextNumberWrong):
            name_text_number(user=anna, number=typed, now=NOON)
        with as_factory():
            assert TextNumber.objects.get().number == WRITTEN

    def test_the_code_is_right_in_any_case_for_an_hour_and_for_its_number_alone(self, anna):
        with acting(anna):
            old = name_text_number(user=anna, number=NUMBER, now=NOON)
            named = name_text_number(user=anna, number=OTHER, now=NOON)
            for wrong in (code_of(old), "", "BBBBBBBB", code_of(named)[:-1]):
                with pytest.raises(TextCodeWrong):
                    confirm_text_number(user=anna, code=wrong, now=NOON)
            with pytest.raises(TextCodeOld):
                confirm_text_number(user=anna, code=code_of(named), now=NOON + 2 * HOUR)
            typed = f" {code_of(named)[:4].lower()}-{code_of(named)[4:]} "
            assert confirm_text_number(user=anna, code=typed, now=NOON + HOUR).confirmed_at == NOON + HOUR

    def test_it_is_seen_by_its_person_alone_and_gone_when_it_is_taken_away(self, anna, dana):
        make_number(anna)
        with acting(dana):
            assert not TextNumber.objects.exists() and not TextMessage.objects.exists()
            assert not take_text_number_away(user=anna)
        with acting(anna):
            assert take_text_number_away(user=anna)
        with as_factory(), connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM alerts_textnumber")
            assert cursor.fetchone() == (0,)
