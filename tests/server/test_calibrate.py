"""The calibration: that its figures are told as they are, and that every bar of the issue is kept."""

import io
import json
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from PIL import Image
from scipy import integrate, stats

from monitoring.analysis.group_list import group_list
from monitoring.analysis.simulated_farms import rise_of, simulate_farms
from monitoring.charts.svg import text_width
from server.calibrate import trend
from server.calibrate.bars import BARS, Bar, judge, judged
from server.calibrate.cells import mean_of, rng_of, share
from server.calibrate.drawing import LETTERS, PIXELS, WIDTH
from server.calibrate.forecast import carried_forward
from server.calibrate.networks import GRID, Cell, weeks_of
from server.calibrate.parts import PARTS
from server.calibrate.pictures import PICTURES
from server.calibrate.quoted import quoted
from server.calibrate.report import CHANCE, as_markdown, write_report
from server.calibrate.scores import Reliability, crps_of_t

KEPT_REPORT = Path(__file__).parents[2] / "docs" / "calibration"
# The quick run has 1,000 farms a cell (400 for the mean, 50 simulated weeks for the list), so that a coverage of 95 %
# has a standard error of 0.7 and a share of false names of 10 % one of 4. Three standard errors are what some dozens
# of cells scatter by chance: a figure beyond them is wrong.
ERRORS = CHANCE


def told_by(*words, **options):
    out = io.StringIO()
    call_command("calibrate", *words, stdout=out, processes=1, **options)
    return out.getvalue()


@pytest.fixture(scope="module")
def quick():
    """All figures of the quick run, as the command prints them."""
    return json.loads(told_by("--quick", "--json"))


class TestTheQuickRun:
    def test_every_part_is_in_one_object_with_its_bars(self, quick):
        assert set(quick) == {*PARTS, "bars", "quick"}
        assert quick["quick"] is True
        assert quick["bars"] == json.loads(json.dumps([found.as_data() for found in judge(quick)]))

    def test_a_level_farm_leaves_its_own_past_about_as_often_as_its_page_says(self, quick):
        (row,) = quick["own_past"]["chart"]
        assert row["run_length"] == pytest.approx(50, abs=ERRORS * row["run_length_error"])
        assert 35 - ERRORS * row["alone_run_length_error"] < row["alone_run_length"] < 120

    def test_every_bar_is_kept_as_far_as_so_few_farms_can_tell(self, quick, capsys):
        bars = judge(quick)
        with capsys.disabled():
            print(f"\nquick run, bars widened by {ERRORS:g} standard errors")
            for found in bars:
                print(f"  {found.bar.says}: {100 * found.value:.1f} +- {100 * found.error:.1f}, {found.bar.asked}")
        assert {found.bar.part for found in bars} == {bar.part for bar in BARS}
        assert [found for found in bars if not found.kept(ERRORS)] == []

    def test_the_report_has_the_figures_numbers(self, quick):
        tables = tables_of(as_markdown(quick))
        rows = tables["Intervals that hold the true growth"]
        for told, row in zip(rows, quick["trend"]["coverage"], strict=True):
            assert told["stations"] == str(row["stations"])
            assert told["large network"] == f"{100 * row['large_network']:.1f}"
            assert told["of 30"] == f"{100 * row['of_30']:.1f}"
        for told, row in zip(tables["With a large network"], quick["forecast"]["two_weeks"], strict=True):
            assert (told["80 % holds"], told["CRPS less by"]) == tuple(
                f"{100 * row[name]:.1f}" for name in ("covers", "gain")
            )
        told = tables["What was asked, and the worst cell of it"]
        assert [line["worst, %"] for line in told] == [f"{100 * bar['value']:.1f}" for bar in quick["bars"]]
        assert [line["kept"] == "yes" for line in told] == [bar["kept"] for bar in quick["bars"]]

    def test_the_report_is_written_with_its_pictures_and_what_pages_quote(self, quick, tmp_path):
        write_report(tmp_path, quick)
        names = {f"{name}.png" for name in PICTURES} | {"report.md", "figures.json"}
        assert {path.name for path in tmp_path.iterdir()} == names
        assert json.loads((tmp_path / "figures.json").read_text()) == quoted(quick)
        for name in PICTURES:
            with Image.open(tmp_path / f"{name}.png") as picture:
                assert picture.format == "PNG" and picture.width == PIXELS
        linked = re.findall(r"\]\(([^)]+)\)", (tmp_path / "report.md").read_text())
        assert linked and all((tmp_path / link).exists() for link in linked)

    @pytest.mark.parametrize("name", PICTURES)
    def test_no_word_of_a_picture_leaves_its_sheet(self, quick, name):
        svg = ET.fromstring(PICTURES[name].draw(quick))
        height = float(svg.get("height"))
        words = list(svg.iter("{http://www.w3.org/2000/svg}text"))
        assert words
        for each in words:
            wide = text_width(each.text or "", float(each.get("font-size", LETTERS)))
            before = {"start": 0.0, "middle": 0.5, "end": 1.0}[each.get("text-anchor", "start")]
            left = float(each.get("x")) - before * wide
            assert left >= 0 and left + wide <= WIDTH, each.text
            assert LETTERS / 2 <= float(each.get("y")) <= height - 2, each.text


def tables_of(text):
    """The report's tables by their headings: a dictionary of words for every row."""
    found = {}
    for heading, table in re.findall(r"^#+ ([^\n]+)\n(?:(?!#)[^|\n]*\n)*?((?:\|[^\n]*\n)+)", text, re.MULTILINE):
        head, _rule, *rows = [[cell.strip() for cell in line[1:-1].split("|")] for line in table.splitlines()]
        found[heading] = [dict(zip(head, row, strict=True)) for row in rows]
    return found


class TestTheCommand:
    def test_it_prints_each_bar_beside_what_was_measured(self):
        told = told_by("--quick", "--only", "leg_verdict")
        figures = json.loads(told_by("--quick", "--only", "leg_verdict", "--json"))
        for bar in figures["bars"]:
            assert f"{bar['asked']:>14}  {100 * bar['value']:>6.1f} %  {bar['says']} ({bar['cell']})" in told
        assert "The report is in" not in told

    def test_a_run_of_some_parts_writes_a_report_only_where_it_is_told_to(self, tmp_path):
        before = {path: path.stat().st_mtime_ns for path in KEPT_REPORT.glob("*")}
        told_by("--quick", "--only", "leg_verdict")
        assert {path: path.stat().st_mtime_ns for path in KEPT_REPORT.glob("*")} == before
        told = told_by("--quick", "--only", "leg_verdict", into=tmp_path / "here")
        assert f"The report is in {tmp_path / 'here'}." in told
        assert (tmp_path / "here" / "report.md").exists()

    def test_the_same_command_gives_the_same_report(self):
        first, again = (told_by("--quick", "--only", "leg_verdict,work_effect", "--json") for _ in range(2))
        assert first == again

    def test_a_part_that_is_not_there_is_named_with_those_that_are(self):
        with pytest.raises(CommandError, match="There is no rises to measure: choose from trend, rise, forecast"):
            told_by("--only", "trend,rises")


class TestCells:
    def test_figures_do_not_depend_on_the_number_of_processes(self):
        cells = {"quick": True}
        assert trend.figures(50, 3, processes=1, **cells) == trend.figures(50, 3, processes=2, **cells)

    def test_every_cell_has_a_seed_of_its_own(self):
        drawn = {rng_of(1, cell).random() for cell in GRID} | {rng_of(2, cell).random() for cell in GRID}
        assert len(drawn) == 2 * len(GRID)

    def test_the_grid_is_the_issues(self):
        assert len(GRID) == len(set(GRID)) == 90
        asked = {"stations": {5, 9, 25}, "shock": {0, 0.15, 0.3}, "correlation": {0, 0.5}, "weeks": {6, 8, 12}}
        for column, values in (asked | {"missing": {0, 0.2}}).items():
            assert {getattr(cell, column) for cell in GRID} == values

    def test_a_share_has_the_error_of_a_share(self):
        told = share("covers", np.arange(1000) < 950)
        assert told["covers"] == 0.95
        # The standard error of a binomial share, by scipy; a hair more, so that a share of 1 has one too.
        assert told["covers_error"] == pytest.approx(stats.binom(1000, 0.95).std() / 1000, rel=0.01)
        assert share("covers", np.ones(10, bool))["covers_error"] > 0

    def test_a_mean_has_the_error_of_a_mean(self):
        values = [0.9, 0.95, 1.0, 0.93]
        assert mean_of("covers", values)["covers_error"] == pytest.approx(stats.sem(values))


def test_the_list_is_the_same_whatever_all_farms_share():
    """Why one run of the largest groups tells both of no shared shock and of one."""
    rng, cell = rng_of(4), Cell()
    weeks = weeks_of(simulate_farms(rng, cell.network, 300, cell.weeks, rise_of(cell.weeks, lasts=3)).counts, 1.5)
    shared = 0.15 * rng.standard_normal(cell.weeks)
    moved = replace(weeks, effects=weeks.effects + shared - shared.mean())
    assert group_list(moved).p_value == pytest.approx(group_list(weeks).p_value, abs=1e-9)


class TestBars:
    BAR = Bar("intervals hold", "trend", "coverage", "of_30", 0.93, 0.97, {"correlation": (0.0,)})

    def figures(self, *shares):
        rows = [Cell(weeks=6 + at).row(of_30=each, of_30_error=0.01) for at, each in enumerate(shares)]
        return {"trend": {"farms": 100, "coverage": [*rows, Cell(correlation=0.5).row(of_30=0.2, of_30_error=0.1)]}}

    def test_the_cell_that_is_farthest_out_is_told(self):
        found = judged(self.BAR, self.figures(0.95, 0.98, 0.925))
        assert (found.value, found.cells, found.kept()) == (0.98, 3, False)
        assert found.cell == "stations 9, shock 0.3, correlation 0, weeks 7, missing 0"
        assert found.missed_by == pytest.approx(0.01)
        assert found.kept(errors=1.1) and not found.kept(errors=0.9)

    def test_a_bar_is_kept_where_all_its_cells_lie_inside(self):
        assert judged(self.BAR, self.figures(0.93, 0.97)).kept()

    def test_a_bar_of_a_mean_looks_at_the_mean(self):
        averaged = Bar("holds", "trend", "coverage", "of_30", 0.93, 0.97, {"correlation": (0.0,)}, averaged=True)
        found = judged(averaged, self.figures(0.90, 1.0))
        assert found.value == pytest.approx(0.95) and found.kept()
        assert found.error == pytest.approx(0.01 / 2**0.5)

    def test_what_was_not_measured_is_not_judged(self):
        assert judged(self.BAR, {}) is None
        assert judged(self.BAR, {"trend": {"coverage": []}}) is None

    def test_bounds_are_told_in_words(self):
        assert [bar.asked for bar in (self.BAR, Bar("", "", "", "", 0.6), Bar("", "", "", "", high=0.12))] == [
            "93 to 97 %",
            "at least 60 %",
            "at most 12 %",
        ]


class TestScores:
    @pytest.mark.parametrize(
        ("middle", "spread", "degrees", "came"), [(0, 1, 4, 0.3), (2, 0.5, 2.5, 0), (-1, 3, 60, 9)]
    )
    def test_crps_is_the_integral_of_the_squared_difference(self, middle, spread, degrees, came):
        """Second method: the definition (Gneiting and Raftery 2007, J Amer Stat Assoc 102, from memory), by scipy."""
        t = stats.t(degrees, middle, spread)
        below = integrate.quad(lambda x: t.cdf(x) ** 2, -np.inf, came)[0]
        above = integrate.quad(lambda x: t.sf(x) ** 2, came, np.inf)[0]
        arrays = (np.array([float(each)]) for each in (middle, spread, degrees, came))
        assert crps_of_t(*arrays)[0] == pytest.approx(below + above, rel=1e-6)

    def test_chances_that_come_as_often_as_told_have_no_error(self):
        chances = np.repeat([0.25, 0.75], [400, 800])
        came = np.concatenate([np.arange(400) < 100, np.arange(800) < 600])
        told = Reliability.of(chances, came)
        assert told.error == pytest.approx(0)
        assert told.number[[2, 7]].tolist() == [400, 800]

    def test_the_calibration_error_is_the_mean_distance(self):
        """By hand: 100 farms told 0.05, 15 % came; 300 told 0.95, 91 % came: (100 x 10 + 300 x 4) / 400."""
        chances = np.repeat([0.05, 0.95], [100, 300])
        told = Reliability.of(chances, np.concatenate([np.arange(100) < 15, np.arange(300) < 273]))
        assert told.error == pytest.approx((100 * 0.10 + 300 * 0.04) / 400)
        all_came = np.ones(400, bool)
        halves = [Reliability.of(chances[part::2], all_came[part::2]) for part in (0, 1)]
        assert Reliability.together(halves).error == pytest.approx(Reliability.of(chances, all_came).error)

    def test_a_certain_chance_is_in_the_last_tenth(self):
        assert Reliability.of(np.array([1.0, 0.0]), np.array([True, False])).number.tolist() == [1, *[0] * 8, 1]

    def test_what_is_to_be_beaten_scatters_as_weeks_two_apart_do(self):
        log_means = np.array([[0.0, 1.0, 2.0, np.nan, 1.0]])
        newest, scatter = carried_forward(log_means)
        # Weeks two apart: 0 and 2, 2 and 1; the other pair lacks a week.
        assert newest[0] == 1.0
        assert scatter[0] == pytest.approx(((2.0**2 + 1.0**2) / 2) ** 0.5)


@pytest.mark.full
def test_the_whole_calibration_keeps_every_bar_of_the_issue(capsys):
    """Measured anew; the report that is kept under docs/calibration must say the same to a point in a hundred."""
    out = io.StringIO()
    call_command("calibrate", "--json", stdout=out)
    figures = json.loads(out.getvalue())
    bars = judge(figures)
    with capsys.disabled():
        print("\nthe whole calibration")
        for found in bars:
            print(f"  {found.bar.says}: {100 * found.value:.1f} %, asked {found.bar.asked} ({found.cell})")
    assert {found.bar.says for found in bars} == {bar.says for bar in BARS}
    kept = json.loads((KEPT_REPORT / "figures.json").read_text())
    assert quoted(figures) == pytest.approx(kept, abs=0.01)
    assert [f"{found.bar.says}: {found.value:.4f}" for found in bars if not found.kept()] == []
