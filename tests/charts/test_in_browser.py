"""The charts in a real browser under the site's strict policy: nothing clipped, blocked or pale."""

import json
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import plotly
import pytest
from playwright.sync_api import Page, Route

import registry
from registry.charts import figures
from registry.charts.columns import columns
from registry.charts.hundred import HundredLabels, hundred
from tests.charts import test_course
from tests.charts.shapes import SHAPES
from tests.charts.test_details import WORDS
from tests.charts.test_figures import FIGURES
from tests.charts.test_litter import litter_svgs

OpenPage = Callable[..., AbstractContextManager[Page]]

STATIC = Path(registry.__file__).parent / "static" / "soundline"
PLOTLY = Path(plotly.__file__).parent / "package_data" / "plotly.min.js"
POLICY = "default-src 'none'; script-src 'self'; style-src 'self'"
EVERY = FIGURES | test_course.FIGURES
EXPLORER_POLICY = f"{POLICY} {' '.join(figures.STYLE_HASHES)}; img-src 'self' data: blob:"


@contextmanager
def shown(
    open_page: OpenPage, body: str, *, policy: str = POLICY, **options: Any
) -> Iterator[Page]:
    """Open a page with the site's style sheet, served as the site serves it."""
    html = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Charts</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="stylesheet" href="/site.css"></head>'
        f'<body><main class="page">{body}</main></body></html>'
    )

    def answer(route: Route) -> None:
        name = route.request.url.rsplit("/", 1)[-1]
        if name == "page":
            headers = {"Content-Security-Policy": policy, "Content-Type": "text/html"}
            route.fulfill(body=html, headers=headers)
        elif name == "plotly.min.js":
            route.fulfill(path=PLOTLY, content_type="text/javascript")
        elif (STATIC / name).is_file():
            route.fulfill(path=STATIC / name)
        else:
            route.fulfill(status=204)

    with open_page(**options) as page:
        page.route("http://localhost/**", answer)
        page.goto("http://localhost/page")
        yield page


def all_drawings() -> str:
    drawings = [shape.svg() for shape in SHAPES.values()]
    drawings += [
        columns(shape.heap().columns, labels=WORDS, ident=f"c{at}", better="lower")
        for at, shape in enumerate(SHAPES.values())
    ]
    drawings += litter_svgs().values()
    drawings.append(hundred((24, 3, 73), labels=HundredLabels("t", "d"), ident="h"))
    return "".join(f'<figure class="chart">{svg}</figure>' for svg in drawings)


FIND_CLIPPED = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('svg.heap')) {
    const frame = svg.viewBox.baseVal;
    for (const part of svg.querySelectorAll('text, circle, path')) {
      if (part.closest('defs')) continue;
      const box = part.getBBox();
      if (box.x < 0 || box.y < 0 || box.x + box.width > frame.width
          || box.y + box.height > frame.height)
        found.push([svg.querySelector('title').textContent, part.outerHTML, box.x, box.width]);
    }
  }
  return found;
}"""

FIND_OVERLAPPING = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('svg.heap')) {
    const texts = [...svg.querySelectorAll('text')].map(text => [text.textContent, text.getBBox()]);
    texts.forEach(([one, a], at) => texts.slice(0, at).forEach(([other, b]) => {
      if (a.x < b.x + b.width && b.x < a.x + a.width
          && a.y + 2 < b.y + b.height && b.y + 2 < a.y + a.height)
        found.push([one, other]);
    }));
  }
  return found;
}"""

CONTRASTS = """() => {
  const light = text => {
    const [r, g, b] = text.match(/[\\d.]+/g).map(Number).map(v => v / 255)
      .map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (a, b) => (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
  const paper = light(getComputedStyle(document.body).backgroundColor);
  const of = (query, property) =>
    contrast(paper, light(getComputedStyle(document.querySelector(query))[property]));
  return {
    own: of('.heap-own', 'fill'), name: of('.heap-name', 'fill'),
    better: of('.heap-better', 'fill'), worse: of('.heap-worse', 'stroke'),
    same: of('.heap-same', 'stroke'), axis: of('.axis text', 'fill'),
  };
}"""


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_no_label_and_no_circle_is_clipped_and_no_words_overlap(
    open_page: OpenPage, width: int
) -> None:
    with shown(open_page, all_drawings(), viewport={"width": width, "height": 900}) as page:
        assert page.evaluate(FIND_CLIPPED) == []
        assert page.evaluate(FIND_OVERLAPPING) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_letters_of_a_heap_are_at_least_12_pixels_high_on_the_smallest_phone(
    open_page: OpenPage,
) -> None:
    with shown(open_page, all_drawings(), viewport={"width": 320, "height": 568}) as page:
        smallest = page.evaluate(
            "Math.min(...[...document.querySelectorAll('svg.heap .axis text, svg.heap .heap-name')]"
            ".map(text => parseFloat(getComputedStyle(text).fontSize)"
            " * text.ownerSVGElement.getBoundingClientRect().width / 320))"
        )

    assert smallest >= 12


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_stand_off_the_paper_by_day_and_by_night(open_page: OpenPage, scheme: str) -> None:
    with shown(open_page, all_drawings(), color_scheme=scheme) as page:
        found = page.evaluate(CONTRASTS)

    assert min(found["name"], found["axis"]) >= 4.5
    assert min(found.values()) >= 3


def test_a_screen_reader_meets_one_picture_with_its_sentence(open_page: OpenPage) -> None:
    svg = SHAPES["5,000 dogs"].svg()

    with shown(open_page, f'<figure class="chart">{svg}</figure>') as page:
        pictures = page.get_by_role("img", name="Of 100 tested dogs, about 24 have tighter hips")
        assert pictures.count() == 1


class TestExplorers:
    @pytest.mark.parametrize("scheme", ["light", "dark"])
    def test_every_figure_is_drawn_under_the_explorers_policy(
        self, open_page: OpenPage, scheme: str
    ) -> None:
        with shown(open_page, explorer(EVERY), policy=EXPLORER_POLICY, color_scheme=scheme) as page:
            for name in EVERY:
                place = page.locator(f"[data-figure={name}]")
                place.scroll_into_view_if_needed()
                place.locator("svg.main-svg").first.wait_for()
                assert "until then" not in place.inner_text()

    def test_it_takes_the_pages_colours(self, open_page: OpenPage) -> None:
        with shown(
            open_page, explorer(FIGURES), policy=EXPLORER_POLICY, color_scheme="dark"
        ) as page:
            place = page.locator("[data-figure=columns]")
            place.scroll_into_view_if_needed()
            place.locator("svg.main-svg").first.wait_for()
            own = page.evaluate(
                "getComputedStyle(document.documentElement).getPropertyValue('--other').trim()"
            )
            drawn = page.evaluate(
                "document.querySelector('[data-figure=columns]').data[0].marker.color"
            )

        assert drawn == own
        assert drawn != figures.OTHER

    def test_a_page_whose_plotly_does_not_load_keeps_its_words(self, open_page: OpenPage) -> None:
        body = explorer({"columns": FIGURES["columns"]}).replace("/plotly.min.js", "/absent.css")

        with shown(open_page, body, policy=EXPLORER_POLICY) as page:
            page.locator("[data-figure].not-drawn").wait_for()
            assert page.locator("[data-figure]").inner_text() == "until then"


def explorer(of: dict[str, figures.Figure]) -> str:
    """Return what an explorer's page holds for these figures."""
    places = "".join(
        f'<div class="plot" data-figure="{name}" aria-label="{name}">until then</div>'
        f'<script type="application/json" id="{name}">'
        f"{json.dumps(figure).replace('<', chr(92) + 'u003c')}</script>"
        for name, figure in of.items()
    )
    return places + '<script defer src="/explorer.js" data-plotly="/plotly.min.js"></script>'
