"""Invented song sheets in many layouts, each with the chords that are truly in it.

A `Sheet` is made from a seed: a few sections of chords in a key. The layouts write it as bands
send sheets round: chords above words, lists with and without bar lines, capo shapes, other
countries' names. Words are random syllables; there is no text in them.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from undersong.chart.names import Naming
from undersong.chart.roadmap import unrolled
from undersong.chart.sheet import SheetSettings
from undersong.chart.song import Song
from undersong.theory.chord import Chord, NumberChord, parse_chord, parse_number_chord
from undersong.theory.key import Key, key_on, parse_key

KEY_NAMES = "C D E F G A Bb Eb Ab Em Am Bm F#m Dm"
KEYS = tuple(parse_key(name) for name in KEY_NAMES.split())
TITLES = (
    "Copper Kettle Morning",
    "The Slow Tram Home",
    "Ladder Against the Barn",
    "Nine Grey Herons",
    "Salt on the Sill",
    "A Lamp for the Stairs",
    "Under the Plain Roof",
    "Weaver's Half Day",
)
Truth = list[tuple[str, list[tuple[str, str]]]]
"""For each section its chords in order: place in the bar, name."""

# Numbers from the tonic of a major key, and of a minor one counted from its relative major.
LOOPS = (
    ("1 5 6- 4", "6- 4 1 5"),
    ("1 4 6- 5", "6- 2- 3 6-"),
    ("4 1 5 6-", "4 5 6- 6-"),
    ("1 5/7 6- 5", "6- 5/7 1 4"),
    ("1 1/3 4 5", "2- 6- 3 6-"),
    ("2-(7) 5 1 6-(7)", "2-(7) 3(7) 6- 6-"),
    ("1 4/1 1 5sus", "6- 4 3sus 3"),
    ("6-(7) 4(maj7) 1 5", "4(maj7) 5 3-(7) 6-"),
    ("4 4- 1 1", "6- 1 2-(7) 3(7)"),
    ("1 b7 4 1", "6- 5 4 3(7)"),
    ("4(2) 5 6- 1/3", "4 1 3/#5 6-"),
    ("3-(7) 6-(7) 2-(7) 5(7)", "6- 6-/5 4 3(7)"),
)
NAMES = ("Intro", "Verse 1", "Chorus", "Bridge")
SYLLABLES = ("ka", "lo", "min", "tu", "sa", "re", "no", "pel", "dor", "vi", "han", "est", "lin")


@dataclass(frozen=True)
class Sheet:
    """What is truly in a sheet: sounding chords, one list for each section."""

    title: str
    key: Key
    sections: tuple[tuple[str, tuple[NumberChord, ...]], ...]

    def letters(self, numbers: tuple[NumberChord, ...]) -> list[Chord]:
        return [number.in_key(self.key.number_key()) for number in numbers]


@dataclass(frozen=True)
class Written:
    """A sheet in a layout: its text, what is known of it, and its bars as they truly are."""

    name: str
    text: str
    settings: SheetSettings
    truth: Truth


def make_sheet(seed: int) -> Sheet:
    """An invented song."""
    rng = random.Random(seed)
    key = KEYS[seed % len(KEYS)]
    column = 0 if str(key)[-1] != "m" else 1
    sections = []
    for name in NAMES[: 3 + seed % 2]:
        numbers: list[NumberChord] = []
        for _ in range(rng.choice((1, 2, 2))):
            loop = rng.choice(LOOPS)[column].split()
            numbers += [parse_number_chord(text) for text in loop]
        if name == "Chorus":
            home = "1" if column == 0 else "6-"
            numbers[-1] = parse_number_chord(home)
        sections.append((name, tuple(numbers)))
    return Sheet(TITLES[seed % len(TITLES)], key, tuple(sections))


def words_over(rng: random.Random, chords: list[str]) -> tuple[list[tuple[int, str]], str]:
    """Where each chord stands over a line of syllables, some between, some past the end."""
    text, places = "", []
    for chord in chords:
        places.append((len(text), chord))
        while len(text) < places[-1][0] + len(chord) + 1:
            text += rng.choice(SYLLABLES) + rng.choice(("", " ", " "))
    return places, text.rstrip()


def line_of(places: list[tuple[int, str]]) -> str:
    text = ""
    for column, chord in places:
        text = text.ljust(column) + chord + " "
    return text.rstrip()


def _truth(sheet: Sheet, places: list[str] | None = None) -> Truth:
    return [
        (name, [(place, str(chord)) for chord, place in zip(chords, cycle, strict=True)])
        for name, numbers in sheet.sections
        for chords in [sheet.letters(numbers)]
        for cycle in [(places * len(chords))[: len(chords)] if places else ["0"] * len(chords)]
    ]


def _groups(chords: list[str]) -> list[list[str]]:
    return [chords[start : start + 4] for start in range(0, len(chords), 4)]


def over_words(sheet: Sheet, seed: int, spell: Callable[[Chord], str] = str) -> str:
    """Chords above words, names with a colon."""
    rng = random.Random(seed)
    lines = [sheet.title, f"Key: {sheet.key}", ""]
    for name, numbers in sheet.sections:
        lines.append(f"{name}:")
        for group in _groups([spell(chord) for chord in sheet.letters(numbers)]):
            places, words = words_over(rng, group)
            lines += [line_of(places), words]
        lines.append("")
    return "\n".join(lines)


def bracketed(sheet: Sheet, seed: int) -> str:
    """Names in brackets, key and tempo on one line."""
    text = over_words(sheet, seed)
    for name, _ in sheet.sections:
        text = text.replace(f"{name}:", f"[{name.upper()}]")
    return text.replace(f"Key: {sheet.key}", f"Key of {sheet.key}   Tempo: 72   4/4")


def keyless(sheet: Sheet, seed: int) -> str:
    """No key at all."""
    return over_words(sheet, seed).replace(f"Key: {sheet.key}\n", "")


def barred(sheet: Sheet, _: int) -> str:
    """Bars of one chord, with bar lines."""
    lines = [sheet.title, f"Key: {sheet.key}, 80 bpm", ""]
    for name, numbers in sheet.sections:
        lines.append(name)
        groups = _groups([str(chord) for chord in sheet.letters(numbers)])
        lines += [f"| {' | '.join(group)} |" for group in groups]
        lines.append("")
    return "\n".join(lines)


def halves(sheet: Sheet, _: int) -> str:
    """Two chords in every bar."""
    lines = [sheet.title, f"Key: {sheet.key}", ""]
    for name, numbers in sheet.sections:
        chords = [str(chord) for chord in sheet.letters(numbers)]
        pairs = [f"{a} {b}" for a, b in zip(chords[::2], chords[1::2], strict=True)]
        lines += [f"{name}: | {' | '.join(pairs)} |"]
    return "\n".join(lines)


def beats(sheet: Sheet, _: int) -> str:
    """A slash for each beat more: three beats and one."""
    lines = [sheet.title, f"Key: {sheet.key}", ""]
    for name, numbers in sheet.sections:
        chords = [str(chord) for chord in sheet.letters(numbers)]
        pairs = [f"{a} / / {b}" for a, b in zip(chords[::2], chords[1::2], strict=True)]
        lines += [name, "  ".join(pairs), ""]
    return "\n".join(lines)


def dashed(sheet: Sheet, _: int) -> str:
    """A list with dashes between the chords."""
    lines = [sheet.title, "", f"Key: {sheet.key}"]
    for name, numbers in sheet.sections:
        lines.append(f"{name}: " + " - ".join(str(each) for each in sheet.letters(numbers)))
    return "\n".join(lines)


def fancy(sheet: Sheet, seed: int) -> str:
    """Musical signs, and other ways to write the kinds."""

    def spell(chord: Chord) -> str:
        text = str(chord).replace("maj7", "Δ7").replace("m7", "min7").replace("sus", "sus4")
        return text.replace("b", "♭").replace("#", "♯")

    return over_words(sheet, seed, spell)


def german(sheet: Sheet, seed: int) -> str:
    """H for B and B for B flat, small letters for minor, as on German sheets."""

    def name(english: str) -> str:
        letter, sign = english[0], english[1:]
        if letter == "B":
            return {"": "H", "b": "B", "#": "His"}[sign]
        if sign == "b":
            return {"E": "Es", "A": "As"}.get(letter, letter + "es")
        return letter + "is" * len(sign)

    def spell(chord: Chord) -> str:
        root, tail = name(str(chord.root)), chord.quality.letter_tail
        if tail.startswith("m") and not tail.startswith("maj"):
            root, tail = root.lower(), tail[1:]
        return root + tail + (f"/{name(str(chord.bass))}" if chord.bass else "")

    return over_words(sheet, seed, spell).replace(f"Key: {sheet.key}\n", "")


def solfege(sheet: Sheet, seed: int) -> str:
    """Do, Re, Mi."""
    names = dict(zip("CDEFGAB", ("Do", "Re", "Mi", "Fa", "Sol", "La", "Si"), strict=True))

    def spell(chord: Chord) -> str:
        text = str(chord)
        bass = f"/{names[str(chord.bass)[0]]}{str(chord.bass)[1:]}" if chord.bass else ""
        return names[text[0]] + text[1:].partition("/")[0] + bass

    return over_words(sheet, seed, spell).replace(f"Key: {sheet.key}\n", "")


def with_capo(sheet: Sheet, seed: int) -> str:
    """Written in shapes two frets below what sounds."""
    shapes = key_on(sheet.key.tonic.pitch_class - 2, sheet.key.mode)
    text = over_words(Sheet(sheet.title, shapes, sheet.sections), seed)
    return text.replace(f"Key: {shapes}", f"Key: {shapes}   Capo 2")


LAYOUTS: dict[str, tuple[Callable[[Sheet, int], str], list[str] | None, SheetSettings]] = {
    "over words": (over_words, None, SheetSettings()),
    "bracketed": (bracketed, None, SheetSettings()),
    "no key": (keyless, None, SheetSettings()),
    "barred": (barred, None, SheetSettings()),
    "halves": (halves, ["0", "1/2"], SheetSettings()),
    "beats": (beats, ["0", "3/4"], SheetSettings()),
    "dashed": (dashed, None, SheetSettings()),
    "fancy": (fancy, None, SheetSettings()),
    "german": (german, None, SheetSettings(naming=Naming(german=True))),
    "solfege": (solfege, None, SheetSettings(naming=Naming(solfege=True))),
    "capo": (with_capo, None, SheetSettings()),
}


def written(count: int) -> list[Written]:
    """The first `count` sheets, layouts and songs in turn."""
    found = []
    for seed in range(count):
        layout = list(LAYOUTS)[seed % len(LAYOUTS)]
        write, places, settings = LAYOUTS[layout]
        sheet = make_sheet(seed)
        found.append(
            Written(f"{seed} {layout}", write(sheet, seed), settings, _truth(sheet, places))
        )
    return found


def chords_right(song: Song, truth: Truth) -> tuple[int, int]:
    """How many chords of a sheet stand where they should, sounding as they should, of how many.

    Names are compared by sound: the root, kind and bass in semitones, since a capo leaves the
    spelling open.
    """
    read: dict[str, list[tuple[str, tuple[object, ...]]]] = {}
    for bar in unrolled(song):
        for event in bar.events:
            if event.chord is not None and bar.visit == 1:
                chord = event.chord.in_key(song.counted_in(bar.key))
                read.setdefault(bar.section.casefold(), []).append((str(event.at), _sound(chord)))
    right = total = 0
    for name, chords in truth:
        found = read.get(name.casefold(), [])
        total += max(len(chords), len(found))
        wanted = [(place, _sound_of(text)) for place, text in chords]
        right += sum(a == b for a, b in zip(wanted, found, strict=False))
    return right, total


def _sound(chord: Chord) -> tuple[object, ...]:
    return (chord.root.pitch_class, chord.quality.name, chord.lowest.pitch_class)


def _sound_of(text: str) -> tuple[object, ...]:
    return _sound(parse_chord(text))
