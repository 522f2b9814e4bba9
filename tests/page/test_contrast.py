"""Text stands out from its ground by 4.5 : 1 and signs by 3 : 1, in light, in dark and in print (WCAG 2.2, 1.4.3 and 1.4.11)."""

from __future__ import annotations

import itertools
import re

import pytest

from scheduler.reporting.page.write import STYLES, joined
from tests.page.contrast import contrast, luminance, schemes

SCHEMES = schemes(joined(("colours.css",)), joined(("print.css",)))
TEXT, SIGN = 4.5, 3.0
LIGHTS = tuple(f"light-{i}" for i in range(1, 8))
HEATS = tuple(f"heat-{i}" for i in range(6))

TEXTS = {
    "ink": ("paper", "sheet", "note", "plug", "band", *LIGHTS, *HEATS),
    "quiet": ("paper", "sheet"),
    "accent": ("paper", "sheet", "note"),
    "paper": ("ink",),
    "accent-ink": ("accent",),
    "new-ink": ("new",),
}
"""Colour of text, and the grounds it stands on."""

SIGNS = {
    "edge": ("paper", "sheet"),
    "accent": ("paper", "sheet"),
    "note-edge": ("paper",),
    "ink": LIGHTS,
    "new": ("plug", *LIGHTS),
    "gone": ("plug", "paper", *LIGHTS),
    "mother": ("plug", *LIGHTS),
    "blocked": LIGHTS,
    "hole": LIGHTS,
    "found": ("plug", *LIGHTS),
    "contour": LIGHTS,
    "mark": ("paper", "sheet", "band"),
}
"""Colour of a line or shape that means something, and what it is seen against."""


def pairs(kinds: dict[str, tuple[str, ...]]) -> list[tuple[str, str, str]]:
    return [(scheme, a, b) for scheme in SCHEMES for a, grounds in kinds.items() for b in grounds]


@pytest.mark.parametrize(
    ("a", "b", "ratio"),
    [("#000000", "#ffffff", 21.0), ("#767676", "#ffffff", 4.54), ("#959595", "#ffffff", 3.0), ("#123456", "#123456", 1.0)],
)
def test_the_formula_gives_published_ratios(a: str, b: str, ratio: float) -> None:
    """Black on white 21 : 1 by the definition in WCAG 2.2; #767676 on white 4.54 : 1 and #959595 just below 3 : 1 (WebAIM, from memory)."""
    assert contrast(a, b) == contrast(b, a) == pytest.approx(ratio, abs=0.035)


def test_a_sheet_has_two_schemes_and_one_for_paper() -> None:
    assert set(SCHEMES) == {"light", "dark", "print"}
    assert SCHEMES["light"]["ink"] != SCHEMES["dark"]["ink"]
    assert luminance(SCHEMES["light"]["paper"]) > luminance(SCHEMES["dark"]["paper"])


@pytest.mark.parametrize(("scheme", "text", "ground"), pairs(TEXTS))
def test_text_is_readable(scheme: str, text: str, ground: str) -> None:
    colours = SCHEMES[scheme]
    assert contrast(colours[text], colours[ground]) >= TEXT


@pytest.mark.parametrize(("scheme", "sign", "ground"), pairs(SIGNS))
def test_signs_are_seen(scheme: str, sign: str, ground: str) -> None:
    colours = SCHEMES[scheme]
    assert contrast(colours[sign], colours[ground]) >= SIGN


def test_more_light_is_a_lighter_ground_and_fuller_is_darker() -> None:
    for colours in SCHEMES.values():
        lit = [luminance(colours[name]) for name in LIGHTS]
        assert all(a < b for a, b in itertools.pairwise(lit))
    for scheme in ("light", "print"):
        full = [luminance(SCHEMES[scheme][name]) for name in HEATS]
        assert all(a > b for a, b in itertools.pairwise(full))


def test_paper_is_grey() -> None:
    css = joined(("print.css",))
    for colour in re.findall(r"#[0-9a-fA-F]{6}\b", css):
        assert colour[1:3] == colour[3:5] == colour[5:7], colour


def test_colours_are_named_once() -> None:
    """Rules outside the named colours use the names, so that what is tested here is what is seen."""
    css = joined(tuple(name for name in STYLES if name not in ("colours.css", "print.css")))
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b", css)
    used = set(re.findall(r"var\(--([\w-]+)\)", css))
    assert used <= set(SCHEMES["light"])
    assert used - {"line"} <= {name for kinds in (TEXTS, SIGNS) for a, grounds in kinds.items() for name in (a, *grounds)}
