"""The facts a sheet states about itself on a line: key, capo, tempo, meter."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from undersong.chart.headers import HEADERS, MAX_CAPO
from undersong.chart.signs import plain_signs
from undersong.errors import TheoryError
from undersong.theory.meter import Meter, parse_meter
from undersong.theory.tempo import TEMPO_MAX_BPM, TEMPO_MIN_BPM

_KEY = re.compile(
    r"\b(?:key|tonart)\s*(?:change)?\s*(?:of|is|to)?\s*[:=]?\s*(?P<key>[A-H][#b]?(?:\s*(?:minor|major|min|maj)\b|m\b)?)(?!\w)",
    re.IGNORECASE,
)
_CAPO = re.compile(
    r"\bcapo\s*[:=]?\s*(?:on|at|fret)?\s*(?P<fret>\d{1,2})\w{0,2}(?:\s*fret)?", re.IGNORECASE
)
_TEMPO = re.compile(
    r"(?:\b(?:tempo|bpm)\s*[:=]?\s*(?P<a>\d{2,3}(?:\.\d+)?)|(?P<b>\d{2,3})\s*bpm)", re.IGNORECASE
)
_METER = re.compile(
    r"(?:\b(?:time|meter|metre)\s*(?:signature)?\s*[:=]?\s*)?\b(?P<m>\d{1,2}/\d{1,2})\b",
    re.IGNORECASE,
)
_TOP_LINES = 3


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


def international(key: str, *, german: bool) -> str:
    """A key's name with B for what German names call H; H can mean nothing else."""
    if key[0] in "Hh":
        return "B" + key[1:]
    is_flat = german and key[0] in "Bb" and key[1:2] not in ("b", "#")
    return "Bb" + key[1:] if is_flat else key


def row_of_facts(lines: Sequence[str]) -> tuple[int, list[str]] | None:
    """A line at the top that states several facts, and the same as header lines.

    ``Quiet Harvest - Key: D - 72 bpm - 4/4``; None where no line near the top is one.
    """
    written = [index for index, line in enumerate(lines) if line.strip()][:_TOP_LINES]
    for index in written:
        plain = plain_signs(lines[index].expandtabs())
        facts = facts_in(plain, with_meter=True)
        if "|" in plain or facts is None:
            continue
        title = facts.rest_of(lines[index].expandtabs())
        title = re.sub(r"\s+[-–—·,;|]+(?:\s+[-–—·,;|]+)*\s*|\s{2,}", " ", title).strip()
        title = re.sub(r"^(?:title|song)\s*:\s*", "", title, flags=re.IGNORECASE)
        if len(facts.spans) + bool(title) < 2 or plain.lstrip().startswith("-"):
            continue
        if len(facts.spans) == 1 and plain.partition(":")[0].strip().casefold() in HEADERS:
            continue
        return index, [f"Title: {title}"] * bool(title) + _headers(facts)
    return None


def _headers(facts: Facts) -> list[str]:
    stated = {
        "Key": international(facts.key["key"], german=False) if facts.key else None,
        "Meter": facts.meter,
        "Tempo": f"{facts.tempo_bpm:g}" if facts.tempo_bpm else None,
        "Capo": facts.capo,
    }
    return [f"{name}: {value}" for name, value in stated.items() if value is not None]
