"""Colours of the page, recomputed from their definitions: contrast (WCAG 2.2) and what the colour-blind see."""

from __future__ import annotations

import itertools
import re
from importlib.resources import files

import numpy as np
import pytest
from html_pages import Read, page_of

STYLE = (files("rcdcheck.reports") / "templates" / "style.css").read_text(encoding="utf-8")
SCHEMES = dict(zip(("light", "dark"), re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL), strict=True))
WORDS = ("pass", "fail", "unclear", "none")


def colours(scheme: str) -> dict[str, np.ndarray]:
    """Colours of a scheme as shares of red, green and blue."""
    found = re.findall(r"--([\w-]+): #(\w{6})", SCHEMES[scheme])
    return {name: np.array([int(code[i : i + 2], 16) for i in (0, 2, 4)]) / 255 for name, code in found}


def linear(colour: np.ndarray) -> np.ndarray:
    """sRGB to linear light: IEC 61966-2-1, as WCAG 2.2 prints it under “relative luminance”."""
    return np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    """Contrast ratio: WCAG 2.2, “contrast ratio”."""
    light, dark = sorted((float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_text_has_a_contrast_of_4_5_and_marks_of_3(scheme: str) -> None:
    """WCAG 2.2, success criteria 1.4.3 (text, AA) and 1.4.11 (parts of controls and of pictures)."""
    c = colours(scheme)
    for ground in ("paper", "wash"):
        for text in ("ink", "quiet", "accent"):
            assert contrast(c[text], c[ground]) >= 4.5, (text, ground)
    for word in WORDS:
        assert contrast(c[word], c["paper"]) >= 4.5 and contrast(c[word], c[f"{word}-tint"]) >= 4.5, word
    assert contrast(c["edge"], c["paper"]) >= 3


@pytest.mark.parametrize("scheme", SCHEMES)
def test_outcomes_differ_for_the_colour_blind(scheme: str) -> None:
    """Dichromacy as Viénot, Brettel and Mollon (1999) simulate it; matrices from memory, in linear light."""
    blind = {
        "protan": [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]],
        "deutan": [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]],
    }
    c = colours(scheme)
    for kind, matrix in blind.items():
        for one, other in itertools.combinations(WORDS, 2):
            seen = [np.clip(np.array(matrix) @ linear(c[w]), 0, 1) ** (1 / 2.2) for w in (one, other)]
            assert np.abs(seen[0] - seen[1]).max() > 0.1, (kind, one, other)


def test_no_mark_and_no_outcome_hangs_on_colour_alone() -> None:
    """WCAG 2.2, success criterion 1.4.1: each mark has a shape of its own, each outcome a sign and a word."""
    read = Read(page_of("honest-day.csv"))
    shapes = {}
    for tag, a in read.tags:
        if a.get("id", "").startswith("m-"):
            shapes[a["id"]] = (tag, *(a.get(part, "") for part in ("d", "r", "width")))
    marks = {a["href"][1:] for tag, a in read.tags if tag == "use"}
    assert marks <= set(shapes) and len(set(shapes.values())) == len(shapes) - 1  # the two keys of bars share a square
    said = " ".join(read.said.split())
    for sign, word in (("✓", "pass"), ("✗", "fail"), ("?", "unclear"), ("…", "incomplete")):
        assert f"{sign} {word}" in said
