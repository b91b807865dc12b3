"""Cards, tags, labels and the round's sheet as PDF.

Lengths, letters and codes are read by PDFium and ZXing-C++, tags by pypdf: programs of their own.

An index card's 3 x 5 inch and the inch's 25.4 mm are exact; ID-1's 85.60 x 53.98 mm (ISO/IEC 7810), A7's 105 x 74 mm
(ISO 216), and the QR code's quiet zone of 4 modules (ISO/IEC 18004) are from memory.
"""

import io
import statistics
import time
from datetime import timedelta
from itertools import pairwise

import pytest
import segno
from django.conf import settings
from django.utils import timezone
from pypdf import PdfReader

from farms.models import Facility, Farm
from farms.services import make_phone_code
from monitoring.models import Placement, Station
from tests.cast import NOW, acting, as_factory, make_facility, make_stations
from tests.server.web.pages import at, words
from tests.server.web.pdf import DPI, boxes_on, codes_on, letters_on, lines_on, opened, picture_of, size_of, words_on
from tests.yardstick import slowness

pytestmark = pytest.mark.django_db
BACKS = {"kind": "backs", "size": "3x5in", "paper": "letter", "language": "en", "copies": "1"}
TAGS = BACKS | {"kind": "tags", "size": "id1", "paper": "single"}
LABELS = BACKS | {"kind": "labels", "paper": "single"}
SHEET = {"kind": "sheet", "paper": "letter", "language": "en"}
SIZES = {"3x5in": (127.0, 76.2), "76x127mm": (127.0, 76.0), "id1": (85.60, 53.98), "a7": (105.0, 74.0)}
# A file's own size and marks may be off by this much, in mm; it measures to a hundredth.
OFF = 0.5
AWKWARD = [
    'Nave "Los #Álamos" \\ $x$ *b* _i_ `c` @d <e> [f] {g} // /* 🐄 h */',
    "W" * 60,
    "Becerrera del lado norte junto al camino viejo de San Andrés",
]


def print_of(client, farm, asked):
    return client.get(at("print_file", farm), asked)


@pytest.fixture
def forty(northfield, dry_lot):
    """Northfield with forty stations: 29 cards, 8 traps, 3 leg counts."""
    make_stations(dry_lot, "card", range(6, 30))
    make_stations(dry_lot, "trap", range(3, 9))
    make_stations(dry_lot, "leg", range(2, 4))
    with as_factory():
        return {str(each.id): each for each in Station.objects.filter(farm=northfield)}


@pytest.mark.parametrize(
    ("kind", "size"),
    [("backs", "3x5in"), ("backs", "76x127mm"), ("tags", "id1"), ("tags", "a7"), ("labels", "3x5in"), ("labels", "a7")],
)
def test_a_card_is_cut_to_its_size_and_a_single_one_fills_its_page(browser, anna, northfield, kind, size):
    client, (width, height) = browser(anna), SIZES[size]
    for paper, sides in (("letter", (215.9, 279.4)), ("a4", (210.0, 297.0))):
        asked = BACKS | {"kind": kind, "size": size, "paper": paper, "copies": "9"}
        page = opened(print_of(client, northfield, asked))[0]
        assert sorted(size_of(page)) == pytest.approx(sorted(sides), abs=OFF)
        for upright, card in ((True, width), (False, height)):
            marks = [line for line in lines_on(page, upright=upright) if abs(line[2] - line[1] - 5) < 0.4]
            cuts = sorted({round(line[0], 2) for line in marks})
            assert len(cuts) >= 2
            steps = [after - before for before, after in pairwise(cuts)]
            assert steps == pytest.approx([card] * len(steps), abs=OFF)
            across = [line for line in lines_on(page, upright=not upright) if abs(line[2] - line[1] - 5) < 0.4]
            ends = sorted(line[0] for line in across)
            assert all(line[2] <= ends[0] - 1.5 or line[1] >= ends[-1] + 1.5 for line in marks)
            assert min(line[1] for line in marks) > 3
    single = opened(print_of(client, northfield, BACKS | {"kind": kind, "size": size, "paper": "single"}))
    assert size_of(single[0]) == pytest.approx((width, height), abs=OFF)
    assert lines_on(single[0], upright=True) == [] or kind == "labels"  # their caution has a frame


def test_a_back_says_farm_number_building_and_leaves_lines_and_only_the_back_is_printed(browser, anna, northfield):
    pages = opened(print_of(browser(anna), northfield, BACKS | {"paper": "single", "copies": "2"}))
    assert len(pages) == 10
    for number, page in enumerate(pages):
        told = words_on(page)
        assert told.startswith(f"Northfield Card {number // 2 + 1} Calf barn Hung on Taken down Counted by")
        assert "The other face is counted: it stays plain white." in told
    sheet = words_on(opened(print_of(browser(anna), northfield, BACKS))[0])
    assert "Print at actual size" in sheet and "Print this side only" in sheet and sheet.count("Northfield") == 4


def test_a_label_has_the_caution_for_the_bait_and_defers_to_the_products_label(browser, anna, northfield):
    pages = [words_on(page) for page in opened(print_of(browser(anna), northfield, LABELS))]
    assert len(pages) == 2
    for number, told in enumerate(pages, start=1):
        for said in (
            "Northfield", f"Trap {number}", "Free-stall barn", "Hung on", "Caution: insecticide bait inside",
            "Keep away from children, animals, feed and milk.", "The label on the bait and local rules come first.",
        ):  # fmt: skip
            assert said in told


def test_every_tag_of_forty_is_read_from_its_picture_and_opens_its_own_station(browser, anna, ben, northfield, forty):
    pages = opened(print_of(browser(anna), northfield, TAGS))
    assert len(pages) == 40
    phone, opens, told = browser(ben), set(), []
    for page in pages:
        (code,) = codes_on(page)
        assert code.ec_level in "MQH" and code.text.startswith(f"{settings.SITE_URL}/at/")
        modules = segno.make(code.text, error="m", micro=False, mask=0).symbol_size(border=0)[0]
        corners = code.position
        side = corners.top_right.x - corners.top_left.x
        assert side / DPI * 25.4 / modules >= 0.5, "a module is half a millimetre or more"
        quiet = 4 * side / modules - 2
        around = (corners.top_left.x - quiet, corners.top_left.y - quiet, corners.top_right.x + quiet,
                  corners.bottom_left.y + quiet)  # fmt: skip
        picture = picture_of(page)
        picture.paste(255, (corners.top_left.x - 2, corners.top_left.y - 2, corners.bottom_right.x + 3,
                            corners.bottom_right.y + 3))  # fmt: skip
        assert picture.crop(tuple(map(round, around))).getextrema() == (255, 255), "white on all sides"
        answer = phone.get(code.text.removeprefix(settings.SITE_URL))
        assert answer.status_code == 302 and answer.url.startswith(at("count", northfield) + "#at-")
        station = forty[answer.url.rpartition("#at-")[2]]
        opens.add(station.id)
        told.append(words_on(page))
        assert station.label in told[-1] and "Northfield" in told[-1]
    assert len(opens) == 40
    assert f'id="at-{station.id}"' in phone.get(at("count", northfield)).content.decode()


def test_the_round_sheet_has_the_lines_and_columns_of_the_grid_where_it_is_typed_in(
    browser, anna, northfield, cards, forty
):
    with as_factory():
        Placement.objects.bulk_create(
            Placement(farm=northfield, station_id=card.id, hung_on="2026-05-25", zone="America/Chicago", entry=1)
            for card in cards
        )
    client = browser(anna)
    for paper, sides in (("letter", (215.9, 279.4)), ("a4", (210.0, 297.0))):
        pages = opened(print_of(client, northfield, SHEET | {"paper": paper}))
        assert len(pages) > 1
        for page in pages:
            assert size_of(page) == pytest.approx(sides, abs=OFF)
            told = words_on(page)
            assert told.startswith("Northfield Counted by Counted on")
            if any(word in told for word in ("Card", "Trap", "Leg count")):
                assert "Which Up Count Or why not Part counted At least Fresh one hung" in told
    told = " ".join(words_on(page) for page in pages)
    grid = client.get(at("paper", northfield)).content.decode()
    in_grid = sorted((each.label for each in forty.values()), key=lambda label: grid.index(f">{label}<"))
    in_file = [told.index(f" {label} ") for label in in_grid]
    assert in_file == sorted(in_file)
    assert told.count("since May 25") == 5
    assert "never alone in a pen with a bull" in told and "lost · wet · chewed" in told
    # Rows that a pencil in a glove hits: a level line every 12 mm.
    rows = sorted({round(line[0], 1) for line in lines_on(pages[0], upright=False) if line[2] - line[1] > 25})
    assert statistics.median(b - a for a, b in pairwise(rows)) >= 12 - 0.1


def test_a_leg_count_has_fifteen_boxes(browser, anna, northfield):
    (page,) = opened(print_of(browser(anna), northfield, SHEET))
    assert len([box for box in boxes_on(page) if box == pytest.approx((10, 10), abs=1.5)]) == 15


def test_the_paper_speaks_the_language_that_is_chosen(browser, anna, northfield):
    client = browser(anna)
    for asked, said in ((LABELS, "Trampa 1"), (SHEET, "Tarjeta 1"), (BACKS, "Tarjeta 1")):
        answer = print_of(client, northfield, asked | {"language": "es"})
        assert said in words_on(opened(answer)[0])
        assert PdfReader(io.BytesIO(answer.content)).trailer["/Root"]["/Lang"] == "es"


@pytest.mark.parametrize("asked", [BACKS, TAGS, LABELS, SHEET], ids=lambda asked: asked["kind"])
def test_the_file_is_tagged_for_readers_and_the_same_each_time(browser, anna, northfield, asked):
    answers = [print_of(browser(anna), northfield, asked) for _ in range(2)]
    assert answers[0].content == answers[1].content
    assert answers[0].headers["Content-Disposition"].startswith("attachment; filename=")
    reader = PdfReader(io.BytesIO(answers[0].content))
    root = reader.trailer["/Root"]
    assert root["/StructTreeRoot"] and root["/MarkInfo"]["/Marked"] and root["/Lang"] == "en"
    assert "Northfield" in reader.metadata.title and root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data()  # PDF/UA-1, ISO 14289-1
    fonts = [font for page in reader.pages for font in page["/Resources"]["/Font"].values()]
    assert fonts and all("/ToUnicode" in font for font in fonts)


@pytest.mark.parametrize("asked", [BACKS | {"paper": "single"}, TAGS, TAGS | {"size": "a7"}, LABELS | {"size": "a7"},
                                   SHEET], ids=lambda asked: asked["kind"] + asked.get("size", ""))  # fmt: skip
def test_names_of_any_kind_and_length_stay_on_their_card(browser, anna, northfield, cards, traps, asked):
    long = "Lechería “San Bartolomé” #1 \\ " + "de las Golondrinas y Asociados " * 3
    with as_factory():
        Farm.objects.filter(id=northfield.id).update(name=long[:120])
        for place, name in zip(Facility.objects.filter(farm=northfield), AWKWARD, strict=True):
            Facility.objects.filter(id=place.id).update(name=name)
            make_stations(place, "trap", range(900 + place.position, 901 + place.position))
            make_stations(place, "card", range(990 + place.position, 991 + place.position))
    pages = opened(print_of(browser(anna), northfield, asked))
    for page in pages:
        width, height = size_of(page)
        for left, bottom, right, top in letters_on(page):
            assert left > 2 and bottom > 2 and right < width - 2 and top < height - 2
    # A line may end within a name.
    told = "".join(words_on(page) for page in pages).replace(" ", "")
    for name in (long[:120], *AWKWARD):
        assert name.replace("🐄", "").replace(" ", "") in told


def test_letters_that_no_font_has_do_not_stop_the_printer(browser, anna, northfield):
    with as_factory():
        Farm.objects.filter(id=northfield.id).update(name="北田 Northfield")
    answer = print_of(browser(anna), northfield, BACKS)
    assert "Northfield" in words_on(opened(answer)[0])
    assert PdfReader(io.BytesIO(answer.content)).trailer["/Root"]["/StructTreeRoot"]


def test_some_of_them_are_chosen_by_building_and_number(browser, anna, northfield, forty, dry_lot):
    client = browser(anna)

    def labels(**asked):
        pages = opened(print_of(client, northfield, BACKS | {"paper": "single"} | asked))
        return [words_on(page).split(" Hung")[0] for page in pages]

    assert len(labels()) == 29
    assert labels(building=str(dry_lot.id), numbers="6-7, 29") == [
        "Northfield Card 6 Dry lot", "Northfield Card 7 Dry lot", "Northfield Card 29 Dry lot"
    ]  # fmt: skip
    tags = opened(print_of(client, northfield, TAGS | {"method": "leg"}))
    assert len(tags) == 3


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"copies": "121"}, "That makes 605, and a file holds 600 at most."),
        ({"copies": "x"}, "Type a whole number from 1 to 600."),
        ({"numbers": "1 to 5"}, "Type numbers with commas between them, such as 1-5, 8."),
        ({"numbers": "4, 77"}, "Nothing in use there has the number 77."),
        ({"kind": "poster"}, "Print cards and sheets"),
        ({"paper": "a5"}, "Select a valid choice"),
    ],
)
def test_what_is_wrong_is_told_beside_its_field(browser, anna, northfield, asked, said):
    answer = print_of(browser(anna), northfield, BACKS | asked)
    assert answer.status_code == 422 and said in words(answer)


def test_what_is_in_use_no_more_is_not_printed(browser, anna, northfield, cards):
    with as_factory():
        Station.objects.filter(id=cards[0].id).update(until=NOW.date() - timedelta(days=1))
    told = words_on(opened(print_of(browser(anna), northfield, BACKS))[0])
    assert "Card 1 " not in told and "Card 2 " in told


def test_a_farm_without_traps_is_told_so(browser, carla, southmead):
    page = words(browser(carla).get(at("print", southmead)))
    assert "No trap is in use." in page and "Backs for cards (PDF)" in page


def test_who_reads_the_farm_prints_and_nobody_else(browser, anna, ben, carla, dana, erik, northfield):
    for user, status in ((anna, 200), (ben, 200), (dana, 200), (carla, 404), (erik, 404)):
        client = browser(user)
        assert client.get(at("print", northfield)).status_code == status
        assert print_of(client, northfield, BACKS).status_code == status
    assert print_of(browser(), northfield, BACKS).status_code == 302
    with acting(anna):
        code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
    phone = browser()
    phone.post("/phone/", {"code": code})
    assert print_of(phone, northfield, BACKS).status_code == 403


def test_five_hundred_cards_take_less_than_three_seconds(browser, anna, northfield):
    make_stations(make_facility(northfield, "Long barn", "free_stall_barn", 4), "card", range(6, 501))
    client = browser(anna)
    print_of(client, northfield, BACKS)  # the fonts are read once a process
    begin = time.process_time()
    pages = opened(print_of(client, northfield, BACKS))
    took = time.process_time() - begin
    assert len(pages) == 125
    assert took < 3 or took < 3 * slowness()
