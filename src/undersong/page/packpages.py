"""The pages of a pack, each as the typesetter's source: cover, line, neck, plan, care."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from undersong.chart.roadmap import duration_s, total_bars
from undersong.chart.song import Song
from undersong.neck.instrument import Instrument
from undersong.page import flow
from undersong.page.chartpage import chart_pages, signs_of_key
from undersong.page.diagram import PAGE_FRETS, RootPath, neck_drawing, path_drawing, root_paths
from undersong.page.excerpt import Stretch, bars_words, stretches
from undersong.page.ground import Ground, Ink
from undersong.page.hardest import HardBar, climb_words, hardest_bars
from undersong.page.lettering import signs
from undersong.page.notation import LARGE_STAFF_MM, STAFF_MM, System, engraved
from undersong.page.pdf import Sheet, drawn, figure, ink_rgb, quoted
from undersong.theory.excerpt import excerpt
from undersong.theory.part import Part

MOST_MOVES = 6
_SHORT_LINES = {1: 0.5, 2: 0.75}  # width of a line of one or two bars, of a whole one
MusicXml = Callable[[Part], bytes]


@dataclass(frozen=True, slots=True)
class PackSong:
    """A song of the day: its chart, the fingered line for this player, and who sings it."""

    song: Song
    part: Part
    singer: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class PackPlayer:
    """Who the pack is for."""

    name: str
    level: int
    instrument: Instrument
    notes: str = ""


@dataclass(frozen=True, slots=True)
class PlanTurn:
    """One turn of a day's practice: minutes and what to do."""

    minutes: float
    words: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class PlanDay:
    """One day of the week's plan."""

    day: datetime.date
    turns: tuple[PlanTurn, ...]


@dataclass(frozen=True, slots=True)
class Setting:
    """How pages are made: paper, ground, size, and what writes a part as MusicXML."""

    sheet: Sheet
    ground: Ground
    musicxml: MusicXml
    is_large: bool = False
    with_letters: bool = False

    @property
    def staff_mm(self) -> float:
        """Height of a staff."""
        return LARGE_STAFF_MM if self.is_large else STAFF_MM

    @property
    def width_mm(self) -> float:
        """Width of what is printed."""
        return self.sheet.inner_width_mm


def day_words(day: datetime.date) -> str:
    """A date as it is said: ``29 November 2026``."""
    return f"{day.day} {day:%B} {day.year}"


def cover(
    title: str,
    held_on: datetime.date | None,
    songs: Sequence[PackSong],
    player: PackPlayer,
    setting: Setting,
    notes: str,
) -> str:
    """The first page: date, player, songs in order with keys, tempos and their pages."""
    ground = setting.ground
    parts = [flow.heading(title, 1)]
    if held_on is not None:
        parts.append(flow.paragraph(f"{held_on:%A}, {day_words(held_on)}"))
    parts.append(flow.space(8))
    parts.append(flow.heading(player.name, 2))
    parts.append(flow.paragraph(player_words(player)))
    parts += [flow.small(player.notes, ground)] if player.notes else []
    parts.append(flow.space(8))
    rows = [_song_row(place, each, ground) for place, each in enumerate(songs, 1)]
    head = ("No.", "Song", "Key", "Meter", "Tempo", "Bars", "Time", "Page")
    columns = "(auto, 1fr, auto, auto, auto, auto, auto, auto)"
    parts.append(flow.table(head, (), columns, ground, cells=rows, inset_mm=2.2))
    parts += [flow.space(4), flow.paragraph(notes)] if notes else []
    return "\n".join(parts)


def player_words(player: PackPlayer) -> str:
    """Level, strings and hand in words."""
    instrument = player.instrument
    hand = "left" if instrument.left_handed else "right"
    strings = {4: "four", 5: "five", 6: "six"}.get(instrument.strings, str(instrument.strings))
    return (
        f"Level {player.level}, {strings}-string bass ({signs_of_tuning(instrument)}), "
        f"{instrument.frets} frets, {hand}-handed."
    )


def signs_of_tuning(instrument: Instrument) -> str:
    """The open strings from low to high: ``E A D G``."""
    return " ".join(signs(str(pitch.name)) for pitch in instrument.tuning.strings)


def _song_row(place: int, each: PackSong, ground: Ground) -> tuple[str, ...]:
    """Cells of the cover's table: the title with who sings and what to know under it."""
    song = each.song
    minutes, seconds = divmod(round(duration_s(song)), 60)
    title = f"text(weight: 700, size: 1.2em, {quoted(song.title)})"
    words = _song_words(each)
    under = f" + linebreak() + {flow.small_text(words, ground)}" if words else ""
    facts = (
        signs_of_key(song.key),
        str(song.meter),
        f"{song.tempo_bpm:g}",
        str(total_bars(song)),
        f"{minutes}:{seconds:02}",
    )
    page = f"context link(<song-{place}>, str(locate(<song-{place}>).page()))"
    number = f"text(size: 1.2em, {quoted(f'{place}.')})"
    key, *rest = (f"text(size: 1.2em, {quoted(fact)})" for fact in facts)
    return number, f"({title}{under})", key, *rest, f"{{ {page} }}"


def _song_words(each: PackSong) -> str:
    singer = f"Sung by {each.singer}." if each.singer else ""
    return " ".join(words for words in (singer, each.notes) if words)


def chart(each: PackSong, place: int, setting: Setting) -> Iterator[str]:
    """The song's chart, one source to each page; the first carries its label."""
    drawings = chart_pages(
        each.song,
        setting.width_mm,
        setting.sheet.inner_height_mm - 0.5,
        with_letters=setting.with_letters,
        is_large=setting.is_large,
        singer=each.singer,
    )
    for number, drawing in enumerate(drawings):
        label = f"#metadata(none)<song-{place}>\n" if number == 0 else ""
        yield label + drawn(drawing, setting.ground)


def line(part: Part, title: str, setting: Setting) -> str:
    """The player's line as staff and tab, each section once."""
    parts = [flow.heading(f"{title}: the line", 2)]
    key = "Above the staff: chord number, then finger (0 is an open string). Below: degree, tab."
    parts.append(flow.small(" ".join(filter(None, (key, swing_words(part)))), setting.ground))
    pieces = stretches(part)
    if not part.notes:
        parts.append(flow.paragraph("The bass has no notes in this song."))
        return "\n".join(parts)
    for piece in pieces:
        parts += _stretch(piece, setting)
    return "\n".join(parts)


def swing_words(part: Part) -> str:
    """How pairs are swung, or nothing where they are not."""
    if part.swing is None:
        return ""
    pair = {8: "eighths", 16: "sixteenths"}.get(part.swing.unit.denominator, "notes")
    ratio = part.swing.ratio
    shares = f"{ratio.numerator} to {ratio.denominator}"
    return f"Swing: a pair of {pair} is played long and short, {shares}."


def _stretch(piece: Stretch, setting: Setting) -> Iterator[str]:
    name = ", ".join(piece.names)
    where = bars_words(piece.ranges)
    words = f"{name}, {where}" if name else where.capitalize()
    yield flow.heading(words, 3)
    if piece.is_silent:
        count = len(piece.part.bars)
        bars = "1 bar" if count == 1 else f"{count} bars"
        yield flow.paragraph(f"The bass is out: count {bars} of rest.")
        return
    yield flow.music(_systems(piece.part, piece.ranges[0][0], setting), words)


def _systems(part: Part, first_bar: int, setting: Setting) -> tuple[System, ...]:
    bars = max(len(part.bars), 1)
    return engraved(
        setting.musicxml(part),
        width_mm=setting.width_mm * _SHORT_LINES.get(bars, 1.0),
        ground=setting.ground,
        staff_mm=setting.staff_mm,
        first_bar=max(first_bar, 1),
        with_letters=setting.with_letters,
    )


def neck(each: PackSong, instrument: Instrument, setting: Setting) -> str:
    """The key on the neck around the song's roots, and the path of its root moves."""
    song, ground = each.song, setting.ground
    counted = song.counted_in(song.key)
    parts = [flow.heading(f"{song.title}: on the neck", 2)]
    words = f"The key of {signs_of_key(song.key)}"
    if counted != song.key:
        words += f", counted from {signs_of_key(counted)}"
    drawing = neck_drawing(instrument, counted, last_fret=PAGE_FRETS, width_mm=setting.width_mm)
    parts += [
        flow.kept_together(
            (
                flow.heading(words, 3),
                flow.small(
                    "Filled: one octave under the hand, fingers below. Second outline: the 1.",
                    ground,
                ),
                figure(drawing, ground),
            )
        )
    ]
    for path in root_paths(each.part):
        parts.append(flow.kept_together(_path(path, song, instrument, setting)))
    return "\n".join(parts)


def _path(path: RootPath, song: Song, instrument: Instrument, setting: Setting) -> Iterator[str]:
    key = "" if path.key == song.counted_in(song.key) else f" in {signs_of_key(path.key)}"
    yield flow.heading(f"The roots of your line{key}", 3)
    drawing = path_drawing(instrument, path, most_hops=MOST_MOVES, width_mm=setting.width_mm)
    yield figure(drawing, setting.ground)
    rows = [
        (f"{signs(str(step.start))} → {signs(str(step.end))}", step.words, f"{step.times}×")
        for step in path.steps[:MOST_MOVES]
    ]
    if rows:
        head = ("Roots", "Move", "How often")
        yield flow.table(head, rows, "(auto, 1fr, auto)", setting.ground, bold_column=0)


def hard_bars(each: PackSong, instrument: Instrument, setting: Setting) -> str:
    """The hardest bars, engraved, and what to do with them."""
    part = each.part
    bars = hardest_bars(part, instrument)
    if not bars:
        return ""
    counts = {1: "One bar", 2: "Two bars", 3: "Three bars"}
    head = (
        flow.heading(f"{each.song.title}: {counts[len(bars)].lower()} to loop first", 2),
        flow.small(climb_words(part.tempo_bpm), setting.ground),
    )
    told: dict[str, int] = {}
    pieces = []
    for bar in bars:
        before = told.setdefault(bar.advice, bar.number)
        advice = bar.advice if before == bar.number else f"Practise it as bar {before}."
        pieces.append((*_hard_bar(bar, part, setting), f"{bar.reason} {advice}"))
    first, *others = ((*music, flow.paragraph(words)) for *music, words in pieces)
    if others:  # the last two go over the page together, so that none stands there alone
        others = [tuple(piece for each in others for piece in each)]
    blocks = map(flow.kept_together, ((*head, *first), *others))
    return "\n".join(blocks)


def _hard_bar(bar: HardBar, part: Part, setting: Setting) -> Iterator[str]:
    """The bar with the one it leads to (the one before, at the end of the song)."""
    count = len(part.bars)
    first = bar.index if bar.index + 1 < count else max(bar.index - 1, 0)
    last = min(first + 1, count - 1)
    names = [mark.name for mark in part.sections if mark.at <= part.bars[bar.index].at]
    where = f" ({names[-1]})" if names else ""
    words = f"Bar {bar.number}{where}" if bar.number else f"The pick-up{where}"
    yield flow.heading(words, 3)
    bars = part.bars
    piece = excerpt(part, bars[first].number, bars[last].number, rung_in=False)
    yield flow.music(_systems(piece, bars[first].number, setting), words)


def plan(days: Sequence[PlanDay], setting: Setting) -> str:
    """This week, day by day."""
    parts = [flow.heading("This week", 1)]
    parts.append(
        flow.paragraph("Fifteen to twenty minutes a day. Write beside each line how it went.")
    )
    for day in days:
        rows = [(f"{turn.minutes:g} min", turn.words) for turn in day.turns]
        total = sum(turn.minutes for turn in day.turns)
        name = f"{day.day:%A}, {day.day.day} {day.day:%B}: {total:g} minutes"
        box = f"box(width: 4mm, height: 4mm, stroke: 0.3mm + {ink_rgb(setting.ground, Ink.INK)})"
        parts.append(
            flow.kept_together(
                (
                    flow.heading(name, 2),
                    flow.table(
                        ("Time", "What", "Done"),
                        rows,
                        "(auto, 1fr, auto)",
                        setting.ground,
                        bold_column=0,
                        cells=[[box] for _ in rows],
                    ),
                )
            )
        )
    return "\n".join(parts)
