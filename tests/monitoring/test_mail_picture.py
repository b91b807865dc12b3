"""A chart as a mail's picture, beside how a general SVG program (resvg) draws the same text."""

import time
from datetime import timedelta
from io import BytesIO

import pytest
from PIL import Image, ImageChops, ImageFilter, ImageStat

from monitoring.charts import DARK, LIGHT, SeasonSeries, WorkMark, season_chart, to_mail_png, to_png
from tests.monitoring.test_charts import APRIL, WORDS


class TestTheMailsPicture:
    """Drawn by a program of our own; a general SVG program (resvg) says how it has to look."""

    SEASONS = (
        SeasonSeries("card", APRIL, [10.0, 24, None, 39, 50, 65, 83, 118], action_level=100,
                     lows=[8, 18, None, 30, 40, 50, 66, 98], highs=[13, 30, None, 50, 62, 80, 101, 142],
                     levels=["below", "below", None, "below", "below", "near", "near", "over"],
                     work=(WorkMark(APRIL + timedelta(days=30), "C"),)),
        SeasonSeries("trap", APRIL, [None, None, 140.0, 150], action_level=[None, None, 250, 200]),
        SeasonSeries("leg", APRIL, [3.0, 400.0], at_least=[False, True], lows=[2, 100], highs=[4, 9000]),
        SeasonSeries("card", APRIL, [None, None]),
    )  # fmt: skip

    def drawn(self, series, palette=LIGHT):
        svg = season_chart(series, words=WORDS, shape="narrow", palette=palette)
        ours, known = to_mail_png(svg, width=960, palette=palette), to_png(svg, width=960, palette=palette)
        return [Image.open(BytesIO(png)).convert("RGB") for png in (ours, known)]

    @pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
    @pytest.mark.parametrize("series", SEASONS, ids=["full", "two levels", "beyond", "empty"])
    def test_it_looks_as_a_general_program_draws_it(self, series, palette):
        ours, known = self.drawn(series, palette)
        assert ours.size == known.size
        # Softened by three pixels, as eyes do: a letter hinted otherwise is no difference, a missing or moved one is.
        soft = [image.filter(ImageFilter.GaussianBlur(3)) for image in (ours, known)]
        apart = ImageChops.difference(*soft).convert("L")
        assert ImageStat.Stat(apart).mean[0] < 0.8
        assert apart.getextrema()[1] < 70

    def test_what_is_filled_has_the_very_colours_of_the_palette(self):
        ours, _known = self.drawn(self.SEASONS[0])
        seen = {f"#{red:02x}{green:02x}{blue:02x}" for _n, (red, green, blue) in ours.getcolors(1 << 20)}
        assert seen >= {LIGHT.paper, LIGHT.ink, LIGHT.soft, LIGHT.hair, LIGHT.band, LIGHT.accent}

    def test_it_is_small_and_alike_every_time(self):
        svg = season_chart(self.SEASONS[0], words=WORDS, shape="narrow")
        assert to_mail_png(svg, width=960) == to_mail_png(svg, width=960)
        assert len(to_mail_png(svg, width=960)) < 0.8 * len(to_png(svg, width=960))

    @pytest.mark.parametrize(
        ("drawn", "words"),
        [('<ellipse rx="3" ry="2" fill="#211c16"/>', "no ellipse"),
         ('<circle cx="5" cy="5" r="2" fill="#ff0000"/>', "#ff0000 is none")],
    )  # fmt: skip
    def test_what_our_charts_have_not_is_refused_and_not_left_out(self, drawn, words):
        with pytest.raises(ValueError, match=words):
            to_mail_png(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">{drawn}</svg>', width=20)

    def test_it_takes_a_third_of_a_general_programs_time_at_most(self):
        svg = season_chart(self.SEASONS[0], words=WORDS, shape="narrow")
        # A tenth, measured; side by side, so that a busy machine slows both.
        spent = dict.fromkeys((to_mail_png, to_png), 0.0)
        for _ in range(5):
            for draw in spent:
                started = time.thread_time()
                draw(svg, width=960)
                spent[draw] += time.thread_time() - started
        assert spent[to_mail_png] < spent[to_png] / 3
