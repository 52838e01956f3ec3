"""The one sheet of style: it stands in every page, which is painted sooner than with a link."""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from importlib.resources import files

STYLE = (files("undersong.web") / "static" / "style.css").read_text(encoding="utf-8")
STYLE_SOURCE = f"'sha256-{b64encode(sha256(STYLE.encode()).digest()).decode()}'"
"""What the content policy allows instead of style from anywhere [Content Security Policy 3]."""
