"""From one song to the next: what the two chords share, how the bass moves, and a way across.

All of it is common practice, no source, except shared notes and distances, which are arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from undersong.chart.roadmap import timeline
from undersong.chart.song import Song
from undersong.theory.chord import Chord, NumberChord, diatonic_chords, parse_number_chord
from undersong.theory.key import Key, Mode
from undersong.theory.pitch import PitchName

FAR_FIFTHS = 2  # keys more signs apart than this are helped by a link
_LINK = {Mode.MAJOR: (("2-(7)",), ("5sus", "5")), Mode.MINOR: (("2m7b5",), ("5sus", "5"))}
_SEMITONES = 12


@dataclass(frozen=True, slots=True)
class Transition:
    """The step from one song to the next.

    `shared` are the notes both chords hold, in the spelling of the second. `bass_semitones` is
    the shortest way of the bass, -5 to 6. `signs_apart` counts how many sharps or flats change.
    `link` is two bars of chords in numbers of the new key (from its own tonic) and in letters,
    empty where the keys are near enough to go straight on.
    """

    last: Chord
    first: Chord
    key_before: Key
    key_after: Key
    shared: tuple[PitchName, ...]
    bass_semitones: int
    signs_apart: int
    common_triads: int
    link: tuple[tuple[NumberChord, ...], ...]

    @property
    def link_letters(self) -> tuple[tuple[Chord, ...], ...]:
        """The link by letters."""
        return tuple(tuple(each.in_key(self.key_after) for each in bar) for bar in self.link)


def transitions(songs: Sequence[Song]) -> tuple[Transition, ...]:
    """Each step of a set, in order; songs without a chord are passed over."""
    sounding = [chords for song in songs if (chords := _chords(song))]
    return tuple(
        _transition(*_letters(before[-1]), *_letters(after[0]))
        for before, after in pairwise(sounding)
    )


def _chords(song: Song) -> list[tuple[NumberChord, Key, Key]]:
    """Each chord as it sounds, the key it is counted in, and the key."""
    return [
        (played.event.chord, song.counted_in(played.key), played.key)
        for played in timeline(song)
        if played.event.chord is not None
    ]


def _letters(place: tuple[NumberChord, Key, Key]) -> tuple[Chord, Key]:
    chord, counted_in, key = place
    return chord.in_key(counted_in), key


def _transition(last: Chord, key_before: Key, first: Chord, key_after: Key) -> Transition:
    signs = abs(key_before.signature - key_after.signature)
    signs = min(signs, _SEMITONES - signs) if signs <= _SEMITONES else signs - _SEMITONES
    is_far = signs > FAR_FIFTHS
    return Transition(
        last=last,
        first=first,
        key_before=key_before,
        key_after=key_after,
        shared=_shared(last, first),
        bass_semitones=_nearest(first.lowest.pitch_class - last.lowest.pitch_class),
        signs_apart=signs,
        common_triads=_common_triads(key_before, key_after),
        link=_link(key_after) if is_far else (),
    )


def _shared(last: Chord, first: Chord) -> tuple[PitchName, ...]:
    sounding = {name.pitch_class for _, name in last.tones}
    return tuple(name for _, name in first.tones if name.pitch_class in sounding)


def _nearest(semitones: int) -> int:
    up = semitones % _SEMITONES
    return up if up <= _SEMITONES // 2 else up - _SEMITONES


def _common_triads(one: Key, other: Key) -> int:
    def sounds(key: Key) -> set[tuple[int, str]]:
        return {(chord.root.pitch_class, chord.quality.name) for chord in diatonic_chords(key)}

    return len(sounds(one) & sounds(other))


def _link(key: Key) -> tuple[tuple[NumberChord, ...], ...]:
    return tuple(tuple(parse_number_chord(text) for text in bar) for bar in _LINK[key.mode])
