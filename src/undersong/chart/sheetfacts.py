"""The facts a sheet states about itself on a line: key, capo, tempo, meter."""

from __future__ import annotations

import re
from dataclasses import dataclass

from undersong.chart.headers import MAX_CAPO
from undersong.errors import TheoryError
from undersong.theory.meter import Meter, parse_meter
from undersong.theory.tempo import TEMPO_MAX_BPM, TEMPO_MIN_BPM

_KEY = re.compile(
    r"\bkey\s*(?:change)?\s*(?:of|is|to)?\s*[:=]?\s*(?P<key>[A-G][#b]?(?:\s*(?:minor|major|min|maj)\b|m\b)?)(?!\w)",
    re.IGNORECASE,
)
_CAPO = re.compile(
    r"\bcapo\s*[:=]?\s*(?:on|at|fret)?\s*(?P<fret>\d{1,2})\w{0,2}(?:\s*fret)?", re.IGNORECASE
)
_TEMPO = re.compile(
    r"(?:\b(?:tempo|bpm)\s*[:=]?\s*(?P<a>\d{2,3}(?:\.\d+)?)|(?P<b>\d{2,3})\s*bpm)", re.IGNORECASE
)
_METER = re.compile(
    r"(?:\b(?:time|meter|metre)\s*(?:signature)?\s*[:=]?\s*)?\b(?P<m>\d{1,2}/\d{1,2})\b"
)


@dataclass(frozen=True, slots=True)
class Facts:
    """What one line states; None where it says nothing.

    `key` is where the key is named, for a remark of its place; `spans` are all places used.
    """

    key: re.Match[str] | None
    capo: int | None
    tempo_bpm: float | None
    meter: Meter | None
    spans: tuple[tuple[int, int], ...]

    def rest_of(self, line: str) -> str:
        """What else stands on the line."""
        return "".join(
            " " if any(a <= place < b for a, b in self.spans) else sign
            for place, sign in enumerate(line)
        ).strip(" -–—|,;:()[].\t")


def facts_in(plain: str, *, with_meter: bool) -> Facts | None:
    """The facts on a line, or None where it states none; a meter is looked for only if asked."""
    key, capo, tempo = _KEY.search(plain), _CAPO.search(plain), _TEMPO.search(plain)
    sign = _METER.search(plain) if with_meter else None
    meter = None if sign is None else _meter(sign["m"])
    used = [key, capo, tempo, sign if meter is not None else None]
    if not any(used):
        return None
    fret = None if capo is None else int(capo["fret"])
    bpm = None if tempo is None else float(tempo["a"] or tempo["b"])
    return Facts(
        key=key,
        capo=fret if fret is not None and fret <= MAX_CAPO else None,
        tempo_bpm=None if bpm is None else min(TEMPO_MAX_BPM, max(TEMPO_MIN_BPM, bpm)),
        meter=meter,
        spans=tuple(each.span() for each in used if each is not None),
    )


def _meter(text: str) -> Meter | None:
    try:
        return parse_meter(text)
    except TheoryError:
        return None
