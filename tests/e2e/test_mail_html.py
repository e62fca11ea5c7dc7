"""The HTML of mails: well-formed, nothing to load, readable in light and in dark, on a phone."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import html5lib
import pytest
from playwright.sync_api import sync_playwright

from kits.rules.mail.plain_text import Letter, LetterRow, Part, VerdictLine, as_text
from kits.services.mail import rendering

URL = "https://gear.example.org/kits/DAY-01/"
STANDS = VerdictLine(
    "Ask first: short of 2 × <sling>",
    "status for Sat 28 November, Hill day",
    "first expiry 31 Mar 2027",
    "DAY-01",
    "2026-11-28",
    "7",
    "short",
)
LETTER = Letter(
    "2 kits not ready for this week’s trips; 40 min of work; order 1 item by Fri 27 November",
    alarms=(
        LetterRow("RECALL: <eye wash> & more, batch E1: DAY-02 holds it.", URL, ("Ring Jo.",)),
    ),
    first=(LetterRow("Sat 28 November, 09:00: DAY-01 for Hill day, Ines, 8 people.", URL, (
        "wound dressing: 2 of 6 good, never below 4: put in 4 from shelf C2.",), (STANDS,)),),
    parts=(
        Part("Kits to open", tuple(
            LetterRow(f"KIT-{n:02}: now", URL, ("gauze swab: put in 2 from shelf A1.",))
            for n in range(8))),
        Part("Not back", (LetterRow("DAY-03: Gil 01632 960111, due Mon 23 November, 18:00", URL),)),
    ),
    closing=("12 kits checked for trips up to Sun 6 December.", "It is not medical advice."),
)  # fmt: skip


@pytest.fixture
def page(need: Callable[[str], str]) -> Iterator[Any]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=need("chromium"), args=["--no-sandbox"]
        )
        yield browser.new_page(viewport={"width": 380, "height": 1400})
        browser.close()


def test_it_is_html_by_the_letter_of_the_standard() -> None:
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(rendering.html(LETTER))
    assert parser.errors == []


def test_it_says_what_the_plain_text_says_and_loads_nothing() -> None:
    content = rendering.html(LETTER)
    assert not re.search(r"<(img|script|link|iframe)|url\(|src=", content)
    body = html5lib.parse(content, namespaceHTMLElements=False).find("body")
    said = " ".join("".join(body.itertext()).split()).lower()
    for row in (*LETTER.alarms, *LETTER.first, *(r for p in LETTER.parts for r in p.rows)):
        assert row.text.lower() in said
        assert all(line.lower() in said for line in (*row.lines, *map(str, row.verdicts)))
    assert "ring jo." in as_text(LETTER).lower()


def test_a_verdict_is_marked_with_the_kit_day_and_trip_it_is_of() -> None:
    body = html5lib.parse(rendering.html(LETTER), namespaceHTMLElements=False).find("body")
    (shown,) = [each for each in body.iter() if "data-verdict" in each.attrib]
    assert shown.attrib == {
        "data-kit": "DAY-01",
        "data-through": "2026-11-28",
        "data-trip": "7",
        "data-verdict": "short",
    }
    assert (shown.text or "").strip() == STANDS.text


def _luminance(color: str) -> float:
    channels = [int(n) / 255 for n in re.findall(r"\d+", color)[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


_PAIRS = """() => {
  const solid = e => { for (; e; e = e.parentElement) {
    const c = getComputedStyle(e).backgroundColor;
    if (!c.endsWith(', 0)') && c !== 'transparent') return c; } return 'rgb(255, 255, 255)'; };
  return [...document.querySelectorAll('h1,h2,li,p,a,strong')].map(
    e => [getComputedStyle(e).color, solid(e), e.textContent.slice(0, 40)]); }"""


@pytest.mark.server
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_word_stands_out_and_fits_a_phone(page: Any, scheme: str, tmp_path: Path) -> None:
    page.emulate_media(color_scheme=scheme)
    page.set_content(rendering.html(LETTER))
    page.screenshot(path=tmp_path / f"{scheme}.png")
    pairs = page.evaluate(_PAIRS)
    assert len(pairs) > 20
    for color, behind, text in pairs:
        low, high = sorted((_luminance(color), _luminance(behind)))
        assert (high + 0.05) / (low + 0.05) >= 4.5, (text, color, behind)
    ground = _luminance(page.evaluate("getComputedStyle(document.body).backgroundColor"))
    assert ground < 0.05 if scheme == "dark" else ground > 0.9
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
