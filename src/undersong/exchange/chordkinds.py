"""Kinds of chord as MusicXML names them: a kind, and degrees added to or altered in it.

A degree's alteration is counted as the standard says: an added one from the dominant chord of
the root (so an added 7 is a minor seventh), an altered one from the kind's own.

References
----------
MusicXML 4.0, elements ``kind`` and ``degree`` [W3C Music Notation Community Group, 2021].
"""

from __future__ import annotations

from undersong.theory.chord import Quality, quality

ChordDegree = tuple[int, int, str]  # value, alteration in semitones, "add", "alter" or "subtract"

_KINDS: dict[str, tuple[str, tuple[ChordDegree, ...]]] = {
    "major": ("major", ()),
    "minor": ("minor", ()),
    "diminished": ("diminished", ()),
    "augmented": ("augmented", ()),
    "power": ("power", ()),
    "suspended fourth": ("suspended-fourth", ()),
    "suspended second": ("suspended-second", ()),
    "sixth": ("major-sixth", ()),
    "minor sixth": ("minor-sixth", ()),
    "six nine": ("major-sixth", ((9, 0, "add"),)),
    "minor six nine": ("minor-sixth", ((9, 0, "add"),)),
    "seventh": ("dominant", ()),
    "major seventh": ("major-seventh", ()),
    "minor seventh": ("minor-seventh", ()),
    "minor major seventh": ("major-minor", ()),
    "half-diminished seventh": ("half-diminished", ()),
    "diminished seventh": ("diminished-seventh", ()),
    "augmented seventh": ("augmented-seventh", ()),
    "augmented major seventh": ("augmented", ((7, 1, "add"),)),
    "seventh flat five": ("dominant", ((5, -1, "alter"),)),
    "suspended seventh": ("suspended-fourth", ((7, 0, "add"),)),
    "added second": ("major", ((2, 0, "add"),)),
    "added ninth": ("major", ((9, 0, "add"),)),
    "minor added ninth": ("minor", ((9, 0, "add"),)),
    "added fourth": ("major", ((4, 0, "add"),)),
    "ninth": ("dominant-ninth", ()),
    "major ninth": ("major-ninth", ()),
    "minor ninth": ("minor-ninth", ()),
    "suspended ninth": ("suspended-fourth", ((7, 0, "add"), (9, 0, "add"))),
    "seventh flat nine": ("dominant", ((9, -1, "add"),)),
    "seventh sharp nine": ("dominant", ((9, 1, "add"),)),
    "seventh sharp eleven": ("dominant", ((11, 1, "add"),)),
    "major seventh sharp eleven": ("major-seventh", ((11, 1, "add"),)),
    "eleventh": ("dominant-11th", ()),
    "minor eleventh": ("minor-11th", ()),
    "thirteenth": ("dominant-13th", ()),
    "major thirteenth": ("major-13th", ()),
    "minor thirteenth": ("minor-13th", ()),
}
_QUALITIES = {(kind, frozenset(degrees)): name for name, (kind, degrees) in _KINDS.items()}
# Kinds we have no sign for, by the nearest that a bass player treats alike.
_NEAREST = {
    "major-11th": "major ninth",
    "Neapolitan": "major",
    "Italian": "seventh",
    "French": "seventh flat five",
    "German": "seventh",
    "Tristan": "half-diminished seventh",
    "pedal": "power",
}


def chord_kind(kind: Quality) -> tuple[str, tuple[ChordDegree, ...]]:
    """MusicXML's kind and degrees for a kind of chord."""
    return _KINDS[kind.name]


def quality_of(kind: str, degrees: frozenset[ChordDegree]) -> Quality | None:
    """The kind of chord; without the degrees where we know none with them; None for no chord."""
    for wanted in (degrees, frozenset[ChordDegree]()):
        name = _QUALITIES.get((kind, wanted))
        if name is not None:
            return quality(name)
    return quality(_NEAREST[kind]) if kind in _NEAREST else None
