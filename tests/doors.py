"""The command line as a shell would run it, in this process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Said:
    """What a command answered."""

    status: int
    out: str
    err: str


Undersong = Callable[..., Said]
