"""Chord tones: arpeggios, inversions, sevenths, tenths, octaves, fifths, slash basses."""

from __future__ import annotations

from collections.abc import Sequence

from undersong.drills.drill import Drill, DrillSheet, Setting
from undersong.drills.patterns import steps
from undersong.drills.writing import Event, Tone, chord_on, evenly, held, in_bars, pulses, sheet
from undersong.theory.chord import NumberChord
from undersong.theory.key import DEGREES

FOUR_ROOTS = (0, 4, 5, 3)  # 1 5 6 4
PRIMARY = (0, 3, 4)  # 1 4 5


def _home(setting: Setting) -> Event:
    return held(Tone(0), setting.meter, chord=chord_on(setting.key, 0), section="Home")


def _on_each(
    setting: Setting, title: str, roots: Sequence[int], shape: Sequence[int]
) -> DrillSheet:
    """One group of chord tones above each root, a bar (or more) each, then home."""
    events: list[Event] = []
    for root in roots:
        chord = chord_on(setting.key, root)
        tones = steps([root + step for step in shape])
        events += in_bars(tones, setting.meter, chord=chord, section=f"On {chord}")
    return sheet(setting, f"{title} in {setting.key}", [*events, _home(setting)])


def make_arpeggios(setting: Setting) -> DrillSheet:
    """1 3 5 8 5 3 1 on the 1, the 4 and the 5 (trade handbook 6, X5)."""
    return _on_each(setting, "Arpeggios", PRIMARY, (0, 2, 4, 7, 4, 2, 0))


def make_triads(setting: Setting) -> DrillSheet:
    """The triad on every degree, upward (trade handbook 6, X6)."""
    return _on_each(setting, "Triads", range(DEGREES), (0, 2, 4))


def make_sevenths(setting: Setting) -> DrillSheet:
    """The seventh chord on every degree, upward."""
    events: list[Event] = []
    for root in range(DEGREES):
        chord = chord_on(setting.key, root, sevenths=True)
        tones = steps([root, root + 2, root + 4, root + 6])
        events += in_bars(tones, setting.meter, chord=chord, section=f"On {chord}")
    return sheet(setting, f"Sevenths in {setting.key}", [*events, _home(setting)])


def make_inversions(setting: Setting) -> DrillSheet:
    """Each of 1, 4 and 5 from its root, from its third and from its fifth."""
    events: list[Event] = []
    for root in PRIMARY:
        plain = chord_on(setting.key, root)
        for lowest, tones in ((0, (0, 2, 4)), (2, (2, 4, 7)), (4, (4, 7, 9))):
            bass = None if lowest == 0 else setting.key.degrees[(root + lowest) % DEGREES]
            chord = NumberChord(plain.root, plain.quality, bass)
            row = steps([root + step for step in tones])
            events += in_bars(row, setting.meter, chord=chord, section=f"On {chord}")
    return sheet(setting, f"Inversions in {setting.key}", [*events, _home(setting)])


def make_tenths(setting: Setting) -> DrillSheet:
    """1 10 2 11 up to the 6 and back (trade handbook 6, X15)."""
    roots = [*range(6), *range(4, -1, -1)]
    events: list[Event] = []
    for root in roots:
        tones = steps([root, root + 9])
        events += in_bars(tones, setting.meter, chord=chord_on(setting.key, root))
    return sheet(setting, f"Tenths in {setting.key}", [*events, _home(setting)])


def make_octaves(setting: Setting) -> DrillSheet:
    """1 8 2 9 up to the 5 and back (trade handbook 6, X11)."""
    roots = [*range(5), *range(3, -1, -1)]
    tones = [number for root in roots for number in (root, root + DEGREES)]
    events = evenly(steps([*tones, 0]), setting.meter, chord=chord_on(setting.key, 0))
    return sheet(setting, f"Octaves in {setting.key}", events)


def make_root_fifth_octave(setting: Setting) -> DrillSheet:
    """Root, fifth, octave, fifth on 1 5 6 4 (trade handbook 6, X10)."""
    return _on_each(setting, "Root, fifth, octave", FOUR_ROOTS, (0, 4, 7, 4))


def make_slash_basses(setting: Setting) -> DrillSheet:
    """1 1/3 4 5, 6- 5/7 1 4/6: the note after the slash is the part (trade handbook 6, X16)."""
    rows = ((0, 0), (0, 2), (3, 3), (4, 4), (5, 5), (4, 6), (0, 7), (3, 5))
    events: list[Event] = []
    for root, bass in rows:
        plain = chord_on(setting.key, root)
        over = None if bass % DEGREES == root else setting.key.degrees[bass % DEGREES]
        chord = NumberChord(plain.root, plain.quality, over)
        events += pulses(Tone(bass), setting.meter, chord=chord, section=f"On {chord}")
    return sheet(setting, f"Slash basses in {setting.key}", [*events, _home(setting)])


CHORDWORK = (
    Drill(
        name="arpeggios",
        title="Arpeggios on 1, 4 and 5",
        level=3,
        purpose="Chord tones under the hand for the three chords that carry most songs.",
        listen_for="The third: it says major or minor, so it has to be in tune and in time.",
        common_mistakes="A third of the wrong kind; one long blur instead of seven notes.",
        make=make_arpeggios,
    ),
    Drill(
        name="triads",
        title="Triads on every degree",
        level=4,
        purpose="To hear and feel the kind of chord that lives on each degree.",
        listen_for="Major, minor, minor, major, major, minor, diminished.",
        common_mistakes="The same fingering for major and for minor.",
        make=make_triads,
    ),
    Drill(
        name="sevenths",
        title="Sevenths on every degree",
        level=5,
        purpose="Four-note chords for the songs that have them, and lines that outline them.",
        listen_for="The seventh against the root: a half step below the octave, or a whole one.",
        common_mistakes="A major seventh on the 5; losing the pulse in the stretch.",
        make=make_sevenths,
    ),
    Drill(
        name="inversions",
        title="Inversions of 1, 4 and 5",
        level=4,
        purpose="The same chord from its root, its third and its fifth, as slash chords ask.",
        listen_for="How the chord leans when the third is at the bottom.",
        common_mistakes="Going back to the root by habit.",
        make=make_inversions,
    ),
    Drill(
        name="tenths",
        title="Tenths",
        level=5,
        purpose="Ballad colour: the root and the third an octave up.",
        listen_for="The low note ringing its full length under the high one.",
        common_mistakes="The low note is choked by the reach.",
        make=make_tenths,
    ),
    Drill(
        name="octaves",
        title="Octaves",
        level=3,
        purpose="The octave shape anywhere on the neck, with the string between kept quiet.",
        listen_for="Two clean notes and nothing between them.",
        common_mistakes="The middle string sounds; the high note is hit harder than the low one.",
        make=make_octaves,
    ),
    Drill(
        name="root-fifth-octave",
        title="Root, fifth, octave",
        level=2,
        purpose="Weight and reach on 1 5 6 4 with the three safest notes of each chord.",
        listen_for="The next root alone: nothing of the last bar may ring into it.",
        common_mistakes="The octave rings over the next root.",
        make=make_root_fifth_octave,
    ),
    Drill(
        name="slash-basses",
        title="Slash basses",
        level=3,
        purpose="To read the note after the slash: that note is the bass part.",
        listen_for="The line the basses make: 1 3 4 5 6 7 8 6.",
        common_mistakes="Playing the chord's root.",
        make=make_slash_basses,
    ),
)
