"""Scale patterns: along one string, over two octaves, in thirds, fours and sixths, other scales."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from undersong.drills.drill import Drill, DrillSheet, Setting
from undersong.drills.writing import Event, Tone, chord_on, evenly, in_bars, semitones_of, sheet
from undersong.theory.key import DEGREES, Mode
from undersong.theory.pitch import SEMITONES_PER_OCTAVE

SIXTH_STEP = 5
PENTATONIC_STEPS = {Mode.MAJOR: (0, 1, 2, 4, 5, 7), Mode.MINOR: (0, 2, 3, 4, 6, 7)}


def steps(numbers: Sequence[int]) -> list[Tone]:
    """Plain tones on scale steps."""
    return [Tone(number) for number in numbers]


def up_and_down(numbers: Sequence[int]) -> list[int]:
    """A row and its way back, the turning point once."""
    return [*numbers, *numbers[-2::-1]]


def _one_line(setting: Setting, title: str, tones: Sequence[Tone]) -> DrillSheet:
    events = evenly(tones, setting.meter, chord=chord_on(setting.key, 0), section=title)
    return sheet(setting, f"{title} in {setting.key}", events)


def make_one_string(setting: Setting) -> DrillSheet:
    """One octave on a single string, the lowest that has it."""
    bass, title = setting.instrument, f"One string in {setting.key}"
    tones = steps(up_and_down(range(DEGREES + 1)))
    for string in range(bass.strings, 0, -1):
        low = max(setting.lowest_midi, bass.open_midi(string) + 1)
        tonic = setting.key.tonic.at_or_above(low)
        fret = tonic.midi - bass.open_midi(string)
        top = fret + SEMITONES_PER_OCTAVE
        if top <= bass.frets and setting.allows(tonic.midi + SEMITONES_PER_OCTAVE):
            events = evenly(tones, setting.meter, chord=chord_on(setting.key, 0))
            frets = [fret + semitones_of(setting.key, tone) for tone in tones]
            placed = [
                replace(event, place=(string, at)) for event, at in zip(events, frets, strict=True)
            ]
            placed[0] = replace(placed[0], section=f"String {string}")
            return sheet(setting, title, placed, tonic=tonic)
    remark = "No single string has this octave here: the notes are fingered freely."
    events = evenly(tones, setting.meter, chord=chord_on(setting.key, 0), section="Scale")
    return sheet(setting, title, events, remarks=[remark])


def make_two_octaves(setting: Setting) -> DrillSheet:
    """Two octaves up and down."""
    return _one_line(setting, "Two octaves", steps(up_and_down(range(2 * DEGREES + 1))))


def make_thirds(setting: Setting) -> DrillSheet:
    """1 3 2 4 3 5 up to the octave, and back (trade handbook 6, X3)."""
    up = [number for low in range(DEGREES) for number in (low, low + 2)]
    down = [number for high in range(DEGREES, 1, -1) for number in (high, high - 2)]
    return _one_line(setting, "Thirds", steps([*up, *down]))


def make_fours(setting: Setting) -> DrillSheet:
    """Groups of four up the scale and down again (trade handbook 6, X4)."""
    up = [low + place for low in range(5) for place in range(4)]
    down = [high - place for high in range(DEGREES, 2, -1) for place in range(4)]
    return _one_line(setting, "Fours", steps([*up, *down]))


def make_sixths(setting: Setting) -> DrillSheet:
    """1 6 2 7 3 8 up the scale, and back."""
    up = [number for low in range(DEGREES) for number in (low, low + SIXTH_STEP)]
    down = [number for low in range(DEGREES - 1, -1, -1) for number in (low + SIXTH_STEP, low)]
    return _one_line(setting, "Sixths", steps([*up, *down]))


def make_from_home(setting: Setting) -> DrillSheet:
    """Every interval of the key from the tonic: 1 2 1 3 1 4 to the octave."""
    tones = [number for high in range(1, DEGREES + 1) for number in (0, high)]
    return _one_line(setting, "From home", steps([*tones, 0]))


def make_pentatonics(setting: Setting) -> DrillSheet:
    """The key's own pentatonic, then that of its relative key."""
    major, minor = "Major pentatonic", "Minor pentatonic"
    is_major = setting.key.mode is Mode.MAJOR
    own = PENTATONIC_STEPS[setting.key.mode]
    # The relative pentatonic is the same five notes from the 6 (major) or the b3 (minor).
    from_step = 5 if is_major else 2
    other = [from_step + step for step in PENTATONIC_STEPS[_other(setting.key.mode)]]
    events: list[Event] = []
    for name, row, home in (
        (major if is_major else minor, own, 0),
        (minor if is_major else major, other, from_step),
    ):
        chord = chord_on(setting.key, home)
        tones = steps(up_and_down(row))
        events += evenly(tones, setting.meter, chord=chord, section=name)
    return sheet(setting, f"Pentatonics in {setting.key}", events)


def _other(mode: Mode) -> Mode:
    return Mode.MINOR if mode is Mode.MAJOR else Mode.MAJOR


def make_harmonic_minor(setting: Setting) -> DrillSheet:
    """The harmonic minor of a minor key, or of a major key's relative minor."""
    home = 0 if setting.key.mode is Mode.MINOR else 5
    row = [Tone(home + step, 1 if step == 6 else 0) for step in range(DEGREES + 1)]
    tones = [*row, *row[-2::-1]]
    chord = chord_on(setting.key, home)
    events = evenly(tones, setting.meter, chord=chord, section="Harmonic minor")
    return sheet(setting, f"Harmonic minor in {setting.key}", events)


def make_modes(setting: Setting) -> DrillSheet:
    """An octave upward from each degree in turn, without leaving the key."""
    events: list[Event] = []
    for low, degree in enumerate(setting.key.degrees):
        row = steps(range(low, low + DEGREES + 1))
        chord = chord_on(setting.key, low)
        events += in_bars(row, setting.meter, chord=chord, section=f"From {degree}")
    events += evenly([Tone(DEGREES)], setting.meter, chord=chord_on(setting.key, 0), section="Home")
    return sheet(setting, f"Modes of {setting.key}", events)


PATTERNS = (
    Drill(
        name="one-string",
        title="Along one string",
        level=2,
        purpose="The steps of the scale seen as distances, and shifts that land without looking.",
        listen_for="A shift you cannot hear: same tone before and after it.",
        common_mistakes="Squeezing during the shift; the thumb stays behind and pulls back.",
        make=make_one_string,
    ),
    Drill(
        name="two-octaves",
        title="Two octaves",
        level=4,
        purpose="The scale from the bottom of the neck into the high register and back.",
        listen_for="The same weight in the high octave as in the low one.",
        common_mistakes="Hurrying at the shift; thin, short notes at the top.",
        make=make_two_octaves,
    ),
    Drill(
        name="thirds",
        title="Thirds",
        level=3,
        purpose="String crossing, and the third that makes a chord major or minor under each note.",
        listen_for="One note at a time: the lower note stops as the upper one speaks.",
        common_mistakes="Rushing the crossing; the lower note rings on.",
        make=make_thirds,
    ),
    Drill(
        name="fours",
        title="Groups of four",
        level=3,
        purpose="Sequence memory: four notes up, one step on, four notes again.",
        listen_for="The first of each four, leaning a little on the beat.",
        common_mistakes="The accent gets lost; the turn at the top comes as a surprise.",
        make=make_fours,
    ),
    Drill(
        name="sixths",
        title="Sixths",
        level=4,
        purpose="Wide steps over a skipped string, as in melodic lines and ballad endings.",
        listen_for="Silence from the string between.",
        common_mistakes="Brushing the string in the middle; both notes shorter than written.",
        make=make_sixths,
    ),
    Drill(
        name="from-home",
        title="Every step from home",
        level=2,
        purpose="To hear how far each degree lies from the tonic, and to find it without counting.",
        listen_for="Sing the upper note before you play it.",
        common_mistakes="Counting frets from the nut; landing late on the 6 and the 7.",
        make=make_from_home,
    ),
    Drill(
        name="pentatonics",
        title="Both pentatonics",
        level=3,
        purpose="Five safe notes for fills: the major and the minor form of the same five.",
        listen_for="Where home moves to, though the notes stay the same.",
        common_mistakes="Putting back the two notes that are left out; stopping between the two.",
        make=make_pentatonics,
    ),
    Drill(
        name="harmonic-minor",
        title="Harmonic minor",
        level=4,
        purpose="The raised seventh of a minor song, and the wide step just below it.",
        listen_for="The pull of the raised note up to the tonic.",
        common_mistakes="Flattening the raised note on the way down; a stretch for a shift.",
        make=make_harmonic_minor,
    ),
    Drill(
        name="modes",
        title="An octave from every degree",
        level=4,
        purpose="Seven octaves, one key: where the half steps fall from each starting note.",
        listen_for="The key's own tonic, still home, whichever note you start from.",
        common_mistakes="Playing a major scale from every start; losing count at the 7.",
        make=make_modes,
    ),
)
