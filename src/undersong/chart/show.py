"""A chart as documented JSON, and as lines of text that are pleasant to read in a terminal."""

from __future__ import annotations

from typing import Any

from undersong.chart.bars import bar_signs
from undersong.chart.degrees import plain_chord
from undersong.chart.roadmap import unrolled
from undersong.chart.song import Bar, ChordEvent, Section, Song, Style, in_key
from undersong.chart.write import change_words, order_words
from undersong.theory.key import Key, Mode

BARS_A_LINE = 4
_MARGIN_MIN = 8
_BAR_MIN = 6
_ORDINALS = {1: "1st", 2: "2nd", 3: "3rd"}


def chart_json(song: Song, key: Key | None = None) -> dict[str, Any]:
    """The chart in stable keys, for scripts and screens; in another key if one is given.

    Each section: ``name``, ``times``, ``notes``, ``bars``. Each bar: ``chords``, ``meter``,
    ``length`` (whole notes), ``pickup``, ``key`` (in force the first time it is played),
    ``directions``, ``opens_repeat``, ``closes_repeat``, ``endings``. Each chord: ``at`` (whole
    notes from the bar line), ``number`` and ``letters`` (null for silence), ``held``,
    ``pushed``, ``push`` (how early), ``stopped``, ``fermata``.
    """
    shown = song if key is None else in_key(song, key)
    keys = bar_keys(shown)
    return {
        "title": shown.title,
        "key": str(shown.key),
        "meter": str(shown.meter),
        "tempo_bpm": shown.tempo_bpm,
        "feel": shown.feel,
        "minor": _home(shown) if shown.key.mode is Mode.MINOR else None,
        "notes": list(shown.notes),
        "sections": [
            {
                "name": section.name,
                "times": section.times,
                "notes": list(section.notes),
                "bars": [
                    _bar_json(bar, shown, keys[place, index])
                    for index, bar in enumerate(section.bars)
                ],
            }
            for place, section in enumerate(shown.sections)
        ],
        "order": [item.name for item in shown.playing_order for _ in range(item.times)],
        "report": [
            {"line": each.line, "column": each.column, "kind": each.kind, "text": each.text}
            for each in shown.report
        ],
    }


def _home(song: Song) -> str:
    return "1-" if song.number_key == song.key else "6-"


def bar_keys(song: Song) -> dict[tuple[int, int], Key]:
    """The key of each written bar (section and bar index) the first time it is played."""
    keys: dict[tuple[int, int], Key] = {}
    for played in unrolled(song):
        keys.setdefault((played.section_index, played.bar_index), played.key)
    key = song.key
    for place, section in enumerate(song.sections):
        for index, bar in enumerate(section.bars):
            # Bars the roadmap leaves out, and pick-ups laid over another bar.
            key = bar.key_change.from_key(key) if bar.key_change else key
            key = keys.setdefault((place, index), key)
    return keys


def _bar_json(bar: Bar, song: Song, key: Key) -> dict[str, Any]:
    return {
        "chords": [_chord_json(event, song.counted_in(key)) for event in bar.events],
        "meter": str(bar.meter),
        "length": str(bar.length),
        "pickup": bar.is_pickup,
        "key": str(key),
        "directions": list(bar.directions),
        "opens_repeat": bar.opens_repeat,
        "closes_repeat": bar.closes_repeat,
        "endings": list(bar.endings),
    }


def _chord_json(event: ChordEvent, key: Key) -> dict[str, Any]:
    chord = event.chord
    return {
        "at": str(event.at),
        "number": None if chord is None else str(chord),
        "letters": None if chord is None else str(chord.in_key(key)),
        "held": event.held,
        "pushed": event.pushed,
        "push": str(event.push),
        "stopped": event.stopped,
        "fermata": event.fermata,
    }


def chart_lines(
    song: Song, *, style: Style | None = None, both: bool = False, key: Key | None = None
) -> tuple[str, ...]:
    """The chart as lines of plain text: section names in the margin, four bars a line.

    Parameters
    ----------
    style
        Numbers or letters; the song's own where none is given.
    both
        Numbers, with the letters small below them.
    key
        Shown in this key instead of the song's.
    """
    shown = song if key is None else in_key(song, key)
    style = Style.NUMBERS if both else style or shown.style
    keys = bar_keys(shown)
    margin = max([_MARGIN_MIN, *(len(_margin(section)) + 2 for section in shown.sections)])
    cells = {place: _cells(bar, shown, keys[place], style) for place, bar in _bars(shown)}
    under = (
        {place: _cells(bar, shown, keys[place], Style.LETTERS) for place, bar in _bars(shown)}
        if both
        else None
    )
    texts = [*cells.values(), *(under.values() if under else ())]
    width = max([_BAR_MIN, *(len(text) for text in texts)])
    lines = [*_head_lines(shown), ""]
    for place, section in enumerate(shown.sections):
        lines += _section_lines(place, section, cells, under, margin, width)
        lines.append("")
    lines.append(f"{'Order':<{margin}}{_order(shown)}")
    return tuple(line.rstrip() for line in lines)


def _bars(song: Song) -> list[tuple[tuple[int, int], Bar]]:
    return [
        ((place, index), bar)
        for place, section in enumerate(song.sections)
        for index, bar in enumerate(section.bars)
    ]


def _head_lines(song: Song) -> list[str]:
    facts = [str(song.key), str(song.meter), f"{song.tempo_bpm:g}"]
    if song.feel:
        facts.append(song.feel)
    if song.key.mode is Mode.MINOR:
        facts.append(f"home is {_home(song)}")
    return [song.title, "  ".join(facts), *song.notes]


def _order(song: Song) -> str:
    return order_words(song.playing_order)


def _margin(section: Section) -> str:
    return section.name + (f" x{section.times}" if section.times > 1 else "")


def _cells(bar: Bar, song: Song, key: Key, style: Style) -> str:
    if style is Style.LETTERS:
        # Exact names with double signs are for scripts; eyes get the plain neighbour.
        counted = song.counted_in(key)
        texts = {
            str(event.chord.in_key(counted)): str(plain_chord(event.chord.in_key(counted)))
            for event in bar.events
            if event.chord is not None
        }
        signs = bar_signs(bar, style=style, key=counted, meter=song.meter)
        return " ".join(_plain(word, texts) for word in signs.split())
    return bar_signs(bar, style=style, key=key, meter=song.meter)


def _plain(word: str, texts: dict[str, str]) -> str:
    for exact in sorted(texts, key=len, reverse=True):
        if exact != texts[exact] and exact in word:
            return word.replace(exact, texts[exact])
    return word


def _section_lines(
    place: int,
    section: Section,
    cells: dict[tuple[int, int], str],
    under: dict[tuple[int, int], str] | None,
    margin: int,
    width: int,
) -> list[str]:
    lines = [f"{'':<{margin}}{note}" for note in section.notes]
    name = _margin(section)
    group: list[int] = []
    for index, bar in enumerate(section.bars):
        full = sum(not section.bars[each].is_pickup for each in group)
        if group and _breaks(section.bars[group[-1]], bar, full):
            lines += _bar_lines(place, section, group, cells, under, f"{name:<{margin}}", width)
            name, group = "", []
        group.append(index)
    if group:
        lines += _bar_lines(place, section, group, cells, under, f"{name:<{margin}}", width)
    return lines


def _breaks(previous: Bar, bar: Bar, count: int) -> bool:
    return bool(
        count >= BARS_A_LINE
        or bar.directions
        or bar.key_change
        or bar.opens_repeat
        or previous.closes_repeat
        or previous.endings != bar.endings
    )


def _bar_lines(
    place: int,
    section: Section,
    group: list[int],
    cells: dict[tuple[int, int], str],
    under: dict[tuple[int, int], str] | None,
    margin: str,
    width: int,
) -> list[str]:
    first = section.bars[group[0]]
    words = [change_words(first.key_change)] if first.key_change else []
    words += first.directions
    blank = " " * len(margin)
    lines = [f"{margin}-- {', '.join(words)}"] if words else []
    start = blank if words else margin
    if first.endings:
        label = " and ".join(_ORDINALS.get(n, f"{n}th") for n in first.endings)
        start = f"{start[: -len(label) - 1]}{label} " if len(label) < len(start) else start
    text = start + ("|: " if first.opens_repeat else "|  ")
    notes = blank + "   "
    for index in group:
        bar = section.bars[index]
        text += f"{cells[place, index]:<{width}} "
        notes += f"{under[place, index] if under else '':<{width}} "
        times = f" x{bar.closes_repeat}" if bar.closes_repeat not in (0, 2) else ""
        text += f":|{times}" if bar.closes_repeat else "| "
        notes += "  "
    return [*lines, text, notes] if under else [*lines, text]
