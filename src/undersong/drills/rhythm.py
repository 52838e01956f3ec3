"""Time, length and loudness: long notes, rests, cells, pushes, feels, gaps, swells, endurance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from undersong.drills.chordwork import FOUR_ROOTS
from undersong.drills.drill import Drill, DrillSheet, Setting
from undersong.drills.writing import Event, Tone, chord_on, held, pulse, pulses, sheet
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import Articulation, Dynamic
from undersong.theory.tempo import Swing

SIX_EIGHT = Meter(6, 8)
HANDS_REMARK = (
    "Stop at once if anything hurts, tingles or goes numb; rest, and come back shorter and easier. "
    "If it lasts or returns, see a clinician."
)
"""Trade handbook 9.2."""

SWELL = (
    Dynamic.PP, Dynamic.PP, Dynamic.P, Dynamic.P, Dynamic.MP, Dynamic.MF, Dynamic.F, Dynamic.FF,
)  # fmt: skip

# Lengths in parts of a beat, one beat or more; repeated until the bar is full.
SIMPLE_CELLS: tuple[tuple[str, tuple[Fraction, ...]], ...] = (
    ("quarters", (Fraction(1),)),
    ("eighths", (Fraction(1, 2), Fraction(1, 2))),
    ("dotted", (Fraction(3, 2), Fraction(1, 2))),
    ("sixteenth pick-up", (Fraction(7, 4), Fraction(1, 4))),
    ("gallop", (Fraction(1, 2), Fraction(1, 4), Fraction(1, 4))),
    ("pushed middle", (Fraction(3, 2), Fraction(5, 2))),
)
COMPOUND_CELLS: tuple[tuple[str, tuple[Fraction, ...]], ...] = (
    ("beats", (Fraction(1),)),
    ("eighths", (Fraction(1, 3), Fraction(1, 3), Fraction(1, 3))),
    ("long-short", (Fraction(2, 3), Fraction(1, 3))),
    ("short-long", (Fraction(1, 3), Fraction(2, 3))),
    ("ballad", (Fraction(1), Fraction(2, 3), Fraction(1, 3))),
)


def cell_bar(meter: Meter, cell: Sequence[Fraction], event: Event) -> list[Event]:
    """One bar of a rhythm cell, repeated and cut to fit the bar."""
    left, events = meter.bar, []
    while left > 0:
        for part in cell:
            length = min(part * meter.beat, left)
            if length > 0:
                events.append(replace(event, length=length, section=None))
                left -= length
    events[0] = replace(events[0], section=event.section)
    return events


def _on_roots(setting: Setting, number: int) -> tuple[Tone, Event]:
    root = FOUR_ROOTS[number % len(FOUR_ROOTS)]
    return Tone(root), Event(setting.meter.bar, Tone(root), chord_on(setting.key, root))


def _home(setting: Setting) -> Event:
    return held(Tone(0), setting.meter, chord=chord_on(setting.key, 0), section="Home")


def make_long_notes(setting: Setting) -> DrillSheet:
    """Roots that stop on the next 1, then on the last beat, then half a beat later (X17)."""
    meter = setting.meter
    events: list[Event] = []
    last = pulse(meter)
    for name, rest in (
        ("Stop on 1", Fraction(0)),
        ("Stop on the last beat", last),
        ("Stop on the last and", last / 2),
    ):
        for number in range(len(FOUR_ROOTS)):
            _, whole = _on_roots(setting, number)
            section = name if number == 0 else None
            events.append(replace(whole, length=meter.bar - rest, section=section))
            if rest:
                events.append(Event(rest, chord=whole.chord))
    return sheet(setting, f"Long notes in {setting.key}", [*events, _home(setting)])


def make_stops(setting: Setting) -> DrillSheet:
    """Half a bar of eighths, half a bar of silence, and the silence moved about (X18)."""
    meter, unit = setting.meter, min(pulse(setting.meter), Fraction(1, 8))
    count = int(meter.bar / unit)
    half = (count + 1) // 2
    events: list[Event] = []
    for name, sounding in (
        ("Play, then stop", [place < half for place in range(count)]),
        ("Stop, then play", [place >= half for place in range(count)]),
        ("Every other one", [place % 2 == 0 for place in range(count)]),
    ):
        for number in range(len(FOUR_ROOTS)):
            tone, whole = _on_roots(setting, number)
            sounded = Event(unit, tone, whole.chord, articulation=Articulation.SHORT)
            rest = Event(unit, chord=whole.chord)
            bar = [sounded if sounds else rest for sounds in sounding]
            bar[0] = replace(bar[0], section=name if number == 0 else None)
            events += bar
    return sheet(setting, f"Stops in {setting.key}", [*events, _home(setting)])


def make_cells(setting: Setting) -> DrillSheet:
    """Each rhythm cell on one root, then on 1 5 6 4 (X20)."""
    cells = COMPOUND_CELLS if setting.meter.is_compound else SIMPLE_CELLS
    events: list[Event] = []
    for name, cell in cells:
        whole = Event(setting.meter.bar, Tone(0), chord_on(setting.key, 0), section=name)
        events += cell_bar(setting.meter, cell, whole)
        events += cell_bar(setting.meter, cell, replace(whole, section=None))
        for number in range(len(FOUR_ROOTS)):
            _, on_root = _on_roots(setting, number)
            events += cell_bar(setting.meter, cell, on_root)
    return sheet(setting, f"Rhythm cells in {setting.key}", [*events, _home(setting)])


def make_pushes(setting: Setting) -> DrillSheet:
    """Straight and pushed changes in turn: the pushed root comes half a pulse early (X21)."""
    meter = setting.meter
    # An eighth early in compound time, where that is the pulse; else half a pulse.
    early = pulse(meter) if meter.is_compound else pulse(meter) / 2
    events: list[Event] = []
    for round_number in range(2):
        for number in range(len(FOUR_ROOTS)):
            tone, whole = _on_roots(setting, number)
            pushed_in = number % 2 == 1  # this bar's root came early
            pushes_out = number % 2 == 0  # the next bar's root will come early
            bar = [replace(event) for event in pulses(tone, meter, chord=whole.chord)]
            if pushed_in:
                bar[0] = replace(
                    bar[0], length=bar[0].length + early, why="pushed: hold over the 1"
                )
            if pushes_out:
                left = bar[-1].length - early
                bar = [*bar[:-1], replace(bar[-1], length=left)] if left else bar[:-1]
            if number == 0:
                name = "Straight, pushed" if round_number == 0 else "Again"
                bar[0] = replace(bar[0], section=name)
            events += bar
    return sheet(setting, f"Pushes in {setting.key}", [*events, _home(setting)])


def make_six_eight(setting: Setting) -> DrillSheet:
    """Two beats of three: on the beat, long-short-long-short, all six (X22)."""
    events: list[Event] = []
    third = Fraction(1, 3)
    for name, cell in (
        ("On the beat", (Fraction(1),)),
        ("1 and 3 of three", (2 * third, third)),
        ("All three", (third, third, third)),
    ):
        for number, root in enumerate((0, 5, 3, 4)):
            whole = Event(
                setting.meter.bar,
                Tone(root),
                chord_on(setting.key, root),
                section=name if number == 0 else None,
            )
            events += cell_bar(setting.meter, cell, whole)
    remarks = []
    if not setting.meter.is_compound:
        remarks.append(
            f"In {setting.meter} every beat is a triplet: count one-and-a, two-and-a. "
            "In 6/8 or 12/8 it is written without triplets."
        )
    return sheet(
        setting, f"Three to a beat in {setting.key}", [*events, _home(setting)], remarks=remarks
    )


def make_shuffle(setting: Setting) -> DrillSheet:
    """Roots long-short, two to one, then up and down the sixth chord (X23)."""
    meter = setting.meter
    cell = (Fraction(2, 3), Fraction(1, 3)) if meter.is_compound else (Fraction(1, 2),) * 2
    events: list[Event] = []
    for number in range(len(FOUR_ROOTS)):
        _, whole = _on_roots(setting, number)
        section = "Roots" if number == 0 else None
        events += cell_bar(meter, cell, replace(whole, section=section))
    row = [Tone(step) for step in (0, 2, 4, 5, 7, 5, 4, 2)]
    lengths = cell_bar(meter, cell, Event(meter.bar, Tone(0), chord_on(setting.key, 0)))
    for bar in range(4):
        events += [
            replace(
                event,
                tone=row[(bar * len(lengths) + place) % len(row)],
                section="Walk" if bar == place == 0 else None,
            )
            for place, event in enumerate(lengths)
        ]
    swing = None if meter.is_compound else Swing(meter.beat / 2, Fraction(2))
    return sheet(setting, f"Shuffle in {setting.key}", [*events, _home(setting)], swing=swing)


def make_four_on_the_floor(setting: Setting) -> DrillSheet:
    """A note on every beat, first long, then short, then off the beat (X24)."""
    meter, beat = setting.meter, setting.meter.beat
    patterns: tuple[tuple[str, list[tuple[Wholes, bool]]], ...] = (
        ("Long", [(beat, True)]),
        ("Short", [(beat / 2, True), (beat / 2, False)]),
        ("Off the beat", [(beat / 2, False), (beat / 2, True)]),
    )
    events: list[Event] = []
    for name, pattern in patterns:
        for number in range(len(FOUR_ROOTS)):
            tone, whole = _on_roots(setting, number)
            bar = [
                Event(length, tone if sounds else None, whole.chord)
                for _ in range(meter.beats)
                for length, sounds in pattern
            ]
            bar[0] = replace(bar[0], section=name if number == 0 else None)
            events += bar
    return sheet(setting, f"On every beat in {setting.key}", [*events, _home(setting)])


def make_gap(setting: Setting) -> DrillSheet:
    """Four bars with the click, four without, twice over (X25)."""
    meter = setting.meter
    half = min(pulse(meter), Fraction(1, 8)) / meter.beat
    cell = [half] * int(1 / half)
    events: list[Event] = []
    for name in ("With click", "No click", "With click", "No click"):
        for number in range(len(FOUR_ROOTS)):
            _, whole = _on_roots(setting, number)
            whole = replace(whole, section=name if number == 0 else None)
            events += cell_bar(meter, cell, whole)
    remark = "Silence the click in the bars marked No click, and see where you are when it returns."
    return sheet(setting, f"Gaps in {setting.key}", [*events, _home(setting)], remarks=[remark])


def make_swell(setting: Setting) -> DrillSheet:
    """Eight bars from very soft to very loud and eight back, the tempo fixed (X26)."""
    meter = setting.meter
    half = min(pulse(meter), Fraction(1, 8)) / meter.beat
    cell = [half] * int(1 / half)
    events: list[Event] = []
    for name, dynamics in (("Grow", SWELL), ("Fade", SWELL[::-1])):
        for number, dynamic in enumerate(dynamics):
            _, whole = _on_roots(setting, number // 2)
            section = name if number == 0 else None
            events += cell_bar(meter, cell, replace(whole, dynamic=dynamic, section=section))
    return sheet(setting, f"Swell in {setting.key}", [*events, _home(setting)])


def make_accents(setting: Setting) -> DrillSheet:
    """The same bar with the accent on each pulse in turn."""
    meter = setting.meter
    count = int(meter.bar / pulse(meter))
    events: list[Event] = []
    for loud in range(count):
        for number in range(2):
            bar = pulses(Tone(0), meter, chord=chord_on(setting.key, 0))
            bar[loud] = replace(bar[loud], accented=True, dynamic=Dynamic.F)
            section = f"Accent on {loud + 1}" if number == 0 else None
            bar[0] = replace(bar[0], section=section)
            events += bar
    return sheet(setting, f"Accents in {setting.key}", [*events, _home(setting)])


def make_dead_notes(setting: Setting) -> DrillSheet:
    """A root on the beat, a dead note between the beats."""
    meter, half = setting.meter, setting.meter.beat / 2
    events: list[Event] = []
    for number in range(2 * len(FOUR_ROOTS)):
        tone, whole = _on_roots(setting, number)
        sounded = Event(half, tone, whole.chord)
        dead = replace(sounded, articulation=Articulation.GHOST, dynamic=Dynamic.P)
        bar = [event for _ in range(meter.beats) for event in (sounded, dead)]
        bar[0] = replace(bar[0], section="Dead notes" if number == 0 else None)
        events += bar
    return sheet(setting, f"Dead notes in {setting.key}", [*events, _home(setting)])


def make_endurance(setting: Setting) -> DrillSheet:
    """Repeated notes: two, then four to the beat, one bar more each time, with rests between."""
    meter, beat = setting.meter, setting.meter.beat
    tone, chord = Tone(0), chord_on(setting.key, 0)
    events: list[Event] = []
    for bars in (1, 2, 4):
        parts = (6, 3) if meter.is_compound else (4, 2)
        for fast in (False, True):
            length = beat / (parts[0] if fast else parts[1])
            for number in range(bars):
                bar = [Event(length, tone, chord)] * int(meter.bar / length)
                kind = "fast" if fast else "slow"
                name = f"{bars} bar{'s' if bars > 1 else ''} {kind}"
                events += [replace(bar[0], section=name if number == 0 else None), *bar[1:]]
        events.append(Event(meter.bar, chord=chord, section="Rest"))
    return sheet(
        setting, f"Endurance in {setting.key}", [*events, _home(setting)], remarks=[HANDS_REMARK]
    )


RHYTHM = (
    Drill(
        name="long-notes",
        title="Long notes",
        level=1,
        purpose="Ends as exact as beginnings: each note stops where the page says.",
        listen_for="The moment of silence, as sharp as an attack.",
        common_mistakes="Ends drift early; the note is let go instead of stopped.",
        make=make_long_notes,
    ),
    Drill(
        name="stops",
        title="Stops",
        level=2,
        purpose="Muting with both hands: a rest is silent.",
        listen_for="Nothing at all in the rests, not even a hum.",
        common_mistakes="The hum of open strings; the first note after the rest comes early.",
        make=make_stops,
    ),
    Drill(
        name="cells",
        title="Rhythm cells",
        level=2,
        purpose="A vocabulary of bars: each cell on one root, then on 1 5 6 4.",
        listen_for="The foot going on through the long notes.",
        common_mistakes="The foot stops; dotted notes played as threes.",
        make=make_cells,
    ),
    Drill(
        name="pushes",
        title="Pushes",
        level=3,
        purpose="A change half a beat early, held over the bar line, beside one that is not.",
        listen_for="Silence on the 1 of a pushed bar: the beat goes on without you.",
        common_mistakes="An extra note on 1; all the bars get faster.",
        make=make_pushes,
    ),
    Drill(
        name="six-eight",
        title="Three to a beat",
        level=2,
        purpose="Compound time: two big beats, each of three.",
        listen_for="The two big beats, under whatever the hand does.",
        common_mistakes="Played as 3/4.",
        make=make_six_eight,
        meter=SIX_EIGHT,
    ),
    Drill(
        name="shuffle",
        title="Shuffle",
        level=3,
        purpose="Long and short at two to one, on roots and walking.",
        listen_for="The short note close to the next beat, and light.",
        common_mistakes="Straight eighths; or the ratio drifts to three to one.",
        make=make_shuffle,
    ),
    Drill(
        name="every-beat",
        title="On every beat",
        level=1,
        purpose="Note length under control: long, short and off the beat at one tempo.",
        listen_for="Every note in a line the same length.",
        common_mistakes="Length grows as volume does.",
        make=make_four_on_the_floor,
    ),
    Drill(
        name="gap",
        title="Gaps in the click",
        level=3,
        purpose="Your own pulse: four bars with the click, four without.",
        listen_for="Where the click comes back: with you, early or late.",
        common_mistakes="Rushing in the gap; stopping when the click stops.",
        make=make_gap,
    ),
    Drill(
        name="swell",
        title="Swell",
        level=3,
        purpose="A build and its way back at one tempo.",
        listen_for="Loudness in eight even steps.",
        common_mistakes="Speeding up; all the growth in the first two bars.",
        make=make_swell,
    ),
    Drill(
        name="accents",
        title="Moving accents",
        level=2,
        purpose="One note louder than the rest, wherever it falls in the bar.",
        listen_for="The plain notes staying alike around the loud one.",
        common_mistakes="The accent comes early; the note after it is swallowed.",
        make=make_accents,
    ),
    Drill(
        name="dead-notes",
        title="Dead notes",
        level=4,
        purpose="Pitchless strokes between the beats, for grooves that talk.",
        listen_for="A knock without pitch, softer than the note before it.",
        common_mistakes="A harmonic rings instead; the dead note is louder than the root.",
        make=make_dead_notes,
    ),
    Drill(
        name="endurance",
        title="Repeated notes",
        level=4,
        purpose="Even repeated notes with loose hands, in growing stretches with rests between.",
        listen_for="The two plucking fingers sounding alike.",
        common_mistakes="A tight forearm; playing on when it hurts.",
        make=make_endurance,
    ),
)
