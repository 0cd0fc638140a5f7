"""Data and script cannot leave their elements."""

import base64
import hashlib
import json
import re
from pathlib import Path

import pytest

from toolbox.report.page.rendering import embedded

HOSTILE = [
    "</script><script>alert(1)</script>",
    "<!--",
    "]]>",
    "a\u2028b\u2029c",
    "&amp;",
    "\U0001f41f",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_embedded_text_is_harmless_and_whole(text: str) -> None:
    told = embedded({"name": text})
    assert not set("<>&\u2028\u2029") & set(told)
    assert told.isascii()
    assert json.loads(told) == {"name": text}


def test_numbers_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        embedded({"depth": float("nan")})


def test_policy_names_the_one_script(page: Path) -> None:
    html = page.read_text(encoding="utf-8")
    script = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    assert len(script) == 1
    digest = base64.b64encode(hashlib.sha256(script[0].encode()).digest()).decode()
    policy = re.findall(r'Content-Security-Policy" content="([^"]*)"', html)
    assert policy == [
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    ]


def test_nothing_outside_is_asked_for(page: Path) -> None:
    html = page.read_text(encoding="utf-8")
    assert not re.findall(r"""(?:src|href)=["'](?!#|data:)""", html)
    assert not re.findall(r"\b(?:fetch|XMLHttpRequest|eval|innerHTML|Function)\s*\(", html)
    outside = set(re.findall(r"https?://[^\"'\s<]+", html))
    assert outside == {"http://www.w3.org/2000/svg"}
