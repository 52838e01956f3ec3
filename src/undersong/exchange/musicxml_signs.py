"""Signs of MusicXML that read on their own: how a note is struck, what a meter says."""

from __future__ import annotations

import re
from fractions import Fraction

from undersong.errors import ExchangeError
from undersong.exchange.musicxml_note import MUTED_TEXT
from undersong.exchange.staves import has_cross_head
from undersong.exchange.xmltree import Element, text_of
from undersong.theory.meter import Meter
from undersong.theory.part import Articulation
from undersong.theory.pitch import Pitch

_ARTICULATIONS = {
    "staccato": Articulation.SHORT,
    "staccatissimo": Articulation.SHORT,
    "spiccato": Articulation.SHORT,
    "tenuto": Articulation.HELD,
    "scoop": Articulation.SLIDE,
}


def articulation_of(element: Element, pitch: Pitch) -> Articulation:
    """How a note element is struck; the pitch tells cymbals, whose heads are crossed anyway."""
    notehead = element.find("notehead")
    if notehead is not None and notehead.text == "x":
        is_cymbal = element.find("unpitched") is not None and has_cross_head(pitch.midi)
        if not is_cymbal or notehead.get("parentheses") == "yes":
            return Articulation.GHOST
    technical = element.findtext("notations/technical/other-technical") or ""
    if text_of(element, "play/mute") == "palm" or technical.strip() == MUTED_TEXT:
        return Articulation.MUTED
    for name in ("hammer-on", "pull-off"):
        if _stops(element, f"notations/technical/{name}"):
            return Articulation.HAMMERED
    if _stops(element, "notations/slide") or _stops(element, "notations/glissando"):
        return Articulation.SLIDE
    for name, articulation in _ARTICULATIONS.items():
        if has_mark(element, name):
            return articulation
    return Articulation.PLAIN


def meter_of(element: Element, where: str) -> Meter:
    """The meter of a time element: ``3+2`` over 8 is 5/8; so are 3/8 and 2/8 side by side."""
    upper, unit = Fraction(0), 0
    for beats, kind in zip(element.iterfind("beats"), element.iterfind("beat-type"), strict=False):
        text = (kind.text or "").strip()
        counts = [each.strip() for each in (beats.text or "").split("+")]
        if not all(re.fullmatch(r"\d{1,3}", each) for each in (text, *counts)):
            raise ExchangeError(f"{where}the time signature is not made of numbers.")
        if int(text) == 0:
            raise ExchangeError(f"{where}the time signature counts no note value.")
        unit = max(unit, int(text))
        upper += Fraction(sum(map(int, counts)), int(text))
    upper *= unit
    if upper.denominator != 1:
        raise ExchangeError(f"{where}the time signature cannot be written as one.")
    return Meter(int(upper), unit)


def has_mark(element: Element, *names: str) -> bool:
    """True where a note element bears one of these articulations."""
    return any(element.find(f"notations/articulations/{name}") is not None for name in names)


def _stops(element: Element, path: str) -> bool:
    return any(each.get("type") == "stop" for each in element.iterfind(path))
