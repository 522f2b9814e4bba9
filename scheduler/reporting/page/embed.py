"""How data, style and script get into the page so that text stays text and no request is possible."""

from __future__ import annotations

import base64
import hashlib
import json
from typing import Any

from markupsafe import Markup

_ESCAPES = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"}

_TURNING = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A)), "\ufffd")
"""Marks of the Unicode bidirectional algorithm (UAX 9, 2.1 to 2.5) that turn the writing of whatever follows, numbers too."""


def unturned(text: str) -> str:
    """Text in which no name can turn the writing of what stands after it: such marks become a visible sign."""
    return text.translate(_TURNING)


def json_for_html(data: Any) -> Markup:
    """JSON that can stand in a script element of any HTML page: nothing in it can end the element or begin markup."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Markup(text.translate(_ESCAPES))


def source_hash(text: str) -> str:
    """A hash source of a Content Security Policy (W3C CSP Level 3, 2.3.1) for an inline script or style of this text."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def policy(style: str, script: str) -> str:
    """The page's Content Security Policy: its own style and script, and nothing from anywhere."""
    return f"default-src 'none'; style-src {source_hash(style)}; script-src {source_hash(script)}; base-uri 'none'; form-action 'none'"
