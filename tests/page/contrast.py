"""Contrast of two colours by WCAG 2.2 (W3C Recommendation): relative luminance and contrast ratio, and the colours of a style sheet."""

from __future__ import annotations

import re


def luminance(colour: str) -> float:
    """Relative luminance of ``#rrggbb``, 0 for black to 1 for white (WCAG 2.2, definition of relative luminance, sRGB)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(a: str, b: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def schemes(colours: str, printed: str) -> dict[str, dict[str, str]]:
    """Custom properties of the page by scheme: light, dark and print. A scheme takes what it does not set from the light one."""
    plain, dark = colours.split("@media (prefers-color-scheme: dark)")
    light = _properties(plain)
    return {"light": light, "dark": light | _properties(dark), "print": light | _properties(printed)}


def _properties(css: str) -> dict[str, str]:
    return {name: value.lower() for name, value in re.findall(r"--([\w-]+):\s*(#[0-9a-fA-F]{6})\b", css)}
