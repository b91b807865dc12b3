"""The week's letters as PDF: one page each whatever they say, in the farm's language, for the adviser's farms only.

Pages and text are read by pypdf, a program of its own.
"""

import io
from datetime import date, timedelta
from typing import Any

import pytest
from django.urls import reverse
from pypdf import PdfReader

from alerts.delivery.letter import Letter, Picture, paragraph, strong
from alerts.delivery.paper import PaperLetter, letters_of_adviser, shorter
from alerts.services import Telling, let_adviser_leave, mark_told, take_back_told
from farms import services
from farms.models import Farm, GroupMember, User
from farms.offers import standing_offers
from farms.selectors import consents_of
from farms.services import Successor
from server.reports.letters import Sheets, letters_pdf
from server.reports.typesetter import usual_paper
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory, make_facility, make_farm, make_group_member, make_stations, make_user
from tests.server.api.senders import session_of
from tests.server.api.test_problems import assert_problem
from tests.server.web.pages import at

pytestmark = pytest.mark.django_db
WEEK = monday(7)
LONG = "Lechería San Bartolomé de las Golondrinas y Asociados del Valle Bajo de la Ribera Izquierda"
CAUTION = "Antes de cualquier aspersión, la etiqueta, las reglas locales y quienes tienen licencia deciden."
LINE = '<path d="M0 9H720" stroke="#000"/>'
DRAWING = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 720 268" width="720">{LINE}</svg>'


def invented(title: str, sentences: int, paragraphs: int = 3) -> PaperLetter:
    """A letter with so many sentences in each paragraph, each with a long name in it."""
    told = [f"Oración {number} sobre la becerrera de {LONG}." for number in range(sentences)]
    counts = paragraph(*told, strong("Por encima de su nivel de acción de 100."), heading="Tarjetas", level="over")
    others = tuple(paragraph(*told) for _ in range(paragraphs))
    letter = Letter(
        "", title, "semana del 29 de junio", (counts,), others, Picture(b"", "Ocho semanas"), "", (CAUTION,)
    )
    return PaperLetter(letter, "es", DRAWING, "Recortada para caber en una página.")


def pages(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_each_letter_is_exactly_one_page_however_much_it_says(paper: str):
    letters = [
        invented(title, sentences, paragraphs)
        for title in ("Hollow Creek", LONG, " ".join([LONG] * 4))
        for sentences, paragraphs in ((0, 0), (2, 3), (6, 5), (25, 5), (60, 30))
    ]
    found = pages(letters_pdf(letters, Sheets("Letters", "Dana", paper)))
    assert len(found) == len(letters)
    for page, each in zip(found, letters, strict=True):
        assert each.letter.title[:30] in page and "Tarjetas:" in page and CAUTION in page


def test_what_is_shortened_says_so_and_keeps_cautions_and_levels():
    whole, cut = pages(letters_pdf([invented(LONG, 1), invented(LONG, 12, 5)], Sheets("", "")))
    assert "Recortada" not in whole and "Recortada" in cut
    for page in (whole, cut):
        assert "Antes de cualquier aspersión" in page and "Por encima de su nivel" in page


def test_the_paper_is_what_is_usual_there():
    assert [usual_paper(zone) for zone in ("America/Chicago", "Europe/Madrid", "UTC")] == ["letter", "a4", "a4"]
    for paper, points in (("a4", (595, 842)), ("letter", (612, 792))):  # ISO 216 and ANSI Y14.1, in points
        box = PdfReader(io.BytesIO(letters_pdf([invented("A", 1)], Sheets("", "", paper)))).pages[0].mediabox
        assert (round(box.width), round(box.height)) == points


def test_the_versions_only_get_shorter():
    sizes = [
        sum(len(each.sentences) for each in (*version.letter.counts, *version.letter.paragraphs))
        for version in shorter(invented("A", 9, 5).letter)
    ]
    assert sizes == sorted(sizes, reverse=True) and sizes[0] > sizes[-1]
    assert all(version.letter.small_print == (CAUTION,) for version in shorter(invented("A", 9, 5).letter))


@pytest.fixture
def silent(group: Any, region: Any, northfield: Farm, cards: Any, dana: User) -> list[Farm]:
    """Northfield and a Spanish-speaking farm, neither with an address; a third gets its mail; all advised by Dana."""
    farms, stations = [northfield], [cards]
    for name, language in ((LONG, "es"), ("Quietwater", "en")):
        owner = make_user(name.split()[0].replace("í", "i"))
        farm = make_farm(name, region, owner, language=language)
        stations.append(make_stations(make_facility(farm, "Becerrera grande", "calf_barn", 1), "card", range(1, 6)))
        with acting(owner):
            services.give_consent(farm=farm, kind="adviser", adviser=dana, by=owner, now=NOW)
        farms.append(farm)
    with as_factory():
        for name in ("Anna", "Lecheria"):
            User.objects.filter(name=name).update(email=f"{name.lower()}@nowhere.invalid")
    for number in range(8):
        for these in stations:
            count_week(these, monday(number), [60 + 12 * number] * 4 + [250])
        check(group, monday(number))
    return farms


def test_all_of_an_advisers_letters_in_one_file(browser: Any, dana: User, silent: list[Farm]):
    page = browser(dana).get(reverse("monday")).content.decode()
    assert "2 letters to print (PDF)" in page
    answer = browser(dana).get(reverse("letters"), {"week": str(WEEK), "paper": "a4"})
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="letters-2026-05-25.pdf"'
    spanish, english = pages(answer.content)
    assert english.startswith("Northfield Week of May 25") and "Over your action level of 100." in english
    assert "the label, local rules and licensed people decide" in english
    assert "Written for Northfield by its adviser, Dana, Valley Advisers." in english
    assert spanish.startswith(LONG[:40]) and "Semana del 25 de mayo" in spanish and "nivel de acción" in spanish
    assert "Quietwater" not in spanish + english


def test_it_says_what_the_mail_says(dana: User, silent: list[Farm]):
    with acting(dana):
        letters = letters_of_adviser(dana, WEEK, NOW.date())
    (english,) = (each.letter for each in letters if each.language == "en")
    (page,) = pages(letters_pdf([each for each in letters if each.language == "en"], Sheets("", "")))
    for told in (*english.counts, *english.paragraphs):
        for sentence in told.sentences:
            assert sentence.text in page


def test_a_farm_that_ended_its_consent_has_no_letter(browser: Any, anna: User, dana: User, silent: list[Farm]):
    with acting(anna):
        services.withdraw_consent(consent=consents_of(silent[0]).get(adviser=dana), by=anna, now=NOW)
    (page,) = pages(browser(dana).get(reverse("letters")).content)
    assert page.startswith(LONG[:40])


def test_one_farms_letter_is_its_owners_and_its_advisers(
    browser: Any, anna: User, ben: User, carla: User, dana: User, erik: User, silent: list[Farm]
):
    for user, status in ((anna, 200), (dana, 200), (ben, 403), (carla, 404), (erik, 404)):
        assert browser(user).get(at("letter", silent[0])).status_code == status
    for user in (anna, ben, carla, erik):
        assert browser(user).get(reverse("letters")).status_code == 404
    assert browser().get(reverse("letters")).status_code == 302


def test_an_owners_own_letter_is_from_no_adviser(browser: Any, anna: User, dana: User, silent: list[Farm]):
    (page,) = pages(browser(anna).get(at("letter", silent[0])).content)
    assert "Written for Northfield, Valley Advisers." in page and "adviser" not in page and "Anna" not in page
    (theirs,) = pages(session_of(anna).get(f"/api/v1/farms/{silent[0].id}/letter").content)
    assert "Written for Northfield, Valley Advisers." in theirs
    (page,) = pages(browser(dana).get(at("letter", silent[0])).content)
    assert "Written for Northfield by its adviser, Dana, Valley Advisers." in page


def test_weeks_not_told_since_the_last_one_that_was_are_on_it(browser: Any, dana: User, silent: list[Farm]):
    def letter() -> str:
        return pages(browser(dana).get(at("letter", silent[0]), {"week": str(WEEK)}).content)[0]

    def tell(week: date) -> None:
        with acting(dana):
            telling = Telling(week, "letter", week + timedelta(days=7))
            mark_told(farm=silent[0], telling=telling, by=dana, now=NOW)

    assert "Earlier weeks" not in letter(), "none was noted"
    tell(monday(4))
    tell(monday(6))
    assert "Earlier weeks" not in letter()
    with acting(dana):
        take_back_told(farm=silent[0], week=monday(6), by=dana, now=NOW)
    page = letter()
    assert "Earlier weeks, judged late or not told before. Week of May 11:" in page and "Week of May 18:" in page
    assert "Week of May 4:" not in page


def test_who_would_follow_an_adviser_is_on_it_as_long_as_it_waits(
    browser: Any, anna: User, dana: User, erik: User, group: Any, silent: list[Farm]
):
    def letter(week: date) -> str:
        return pages(browser(anna).get(at("letter", silent[0]), {"week": str(week)}).content)[0]

    follows = Successor(make_group_member("Fay", group, "adviser"), NOW.date() + timedelta(days=20))
    with acting(erik):
        role = GroupMember.objects.get(user=dana)
        let_adviser_leave(role=role, successor=follows, by=erik, now=NOW)
    told = "Your adviser Dana has left. Fay would take over from June 21, once you say yes; you may say no."
    assert told in letter(WEEK) and told in letter(WEEK)
    assert "has left" not in letter(monday(4)), "two weeks later she was still there"
    with acting(anna):
        services.answer_offer(offer=standing_offers([silent[0].id]).get(), answer="no", by=anna, now=NOW)
    assert "has left" not in letter(WEEK)


def test_where_there_is_none_the_list_says_so(browser: Any, dana: User, northfield: Farm):
    answer = browser(dana).get(reverse("letters"), follow=True)
    assert "There is no letter for this week" in answer.content.decode()


def test_by_the_api(anna: User, carla: User, dana: User, erik: User, silent: list[Farm], southmead: Farm):
    one, group = f"/api/v1/farms/{silent[0].id}/letter", f"/api/v1/groups/{silent[0].group_id}/letters"
    assert len(pages(session_of(dana).get(group).content)) == 2
    assert len(pages(session_of(anna).get(f"{one}?week=2026-05-27&paper=letter").content)) == 1
    assert_problem(session_of(dana).get(f"{one}?paper=a5"), 422, "bad_query")
    assert_problem(session_of(dana).get(f"{one}?week=2025-05-27"), 404, "no_letter")
    assert_problem(session_of(erik).get(group), 403, "forbidden")
    assert_problem(session_of(anna).get(group), 403, "forbidden")
    for user in (carla, erik):
        assert_problem(session_of(user).get(one), 404, "not_found")
