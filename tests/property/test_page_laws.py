"""Laws of the pages: for any song and any part nothing collides, leaves the sheet or is lost."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from strategies import bass_parts
from undersong.chart.song import Bar, ChordEvent, OrderItem, Section, Song
from undersong.neck.instrument import TUNINGS, Instrument, Tuning
from undersong.page.chartpage import chart_pages
from undersong.page.diagram import neck_drawing
from undersong.page.excerpt import stretches
from undersong.page.lettering import BOLD, REGULAR, text_width, wrapped
from undersong.page.marks import Anchor, text
from undersong.page.pdf import SHEETS
from undersong.theory.chord import QUALITIES, NumberChord
from undersong.theory.key import MAJOR_KEYS, Degree, Key
from undersong.theory.meter import Meter
from undersong.theory.part import Part

HAIR_MM = 0.15
METERS = [Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(12, 8), Meter(5, 4)]
words = st.text("ABCDEFGhijklmnop qrstuvwxyzäöü'-", min_size=1, max_size=24).filter(str.strip)
degrees = st.builds(Degree, st.integers(1, 7), st.integers(-1, 1))
chords = st.builds(NumberChord, degrees, st.sampled_from(QUALITIES), st.none() | degrees)


@st.composite
def bars(draw: st.DrawFn, meter: Meter) -> Bar:
    """A bar of up to four chords on any eighths, with any signs."""
    eighths = int(meter.bar * 8)
    places = sorted(draw(st.sets(st.integers(0, eighths - 1), min_size=1, max_size=4)))
    events = tuple(
        ChordEvent(
            Fraction(place, 8),
            draw(st.none() | chords),
            held=draw(st.booleans()),
            stopped=draw(st.booleans()),
            push=draw(st.sampled_from([Fraction(0), Fraction(1, 8), Fraction(1, 16)])),
            fermata=draw(st.booleans()),
        )
        for place in places
    )
    directions = (draw(words),) if draw(st.integers(0, 5)) == 0 else ()
    endings = draw(st.sampled_from([(), (), (), (1,), (1, 2)]))
    return Bar(events, meter, directions=directions, endings=endings)


@st.composite
def songs(draw: st.DrawFn) -> Song:
    """Up to five sections of up to nine bars, in any key."""
    meter = draw(st.sampled_from(METERS))
    names = draw(st.lists(words, min_size=1, max_size=5, unique_by=str.casefold))
    sections = tuple(
        Section(name, tuple(draw(st.lists(bars(meter), min_size=1, max_size=9)))) for name in names
    )
    order = tuple(OrderItem(section.name) for section in sections)
    return Song(draw(words), draw(st.sampled_from(MAJOR_KEYS)), meter, sections, order=order)


looks = st.fixed_dictionaries({"with_letters": st.booleans(), "is_large": st.booleans()})


@settings(max_examples=60, deadline=None)
@given(songs(), st.sampled_from(sorted(SHEETS)), looks)
def test_no_chart_prints_a_word_over_another_or_off_the_sheet(
    song: Song, sheet: str, look: dict[str, bool]
) -> None:
    size = SHEETS[sheet]
    for page in chart_pages(
        song,
        size.inner_width_mm,
        size.inner_height_mm,
        with_letters=look["with_letters"],
        is_large=look["is_large"],
    ):
        boxes = [(mark.plain, mark.bounds) for mark in page.texts]
        for place, (name, box) in enumerate(boxes):
            assert box.left >= -0.5, name
            assert box.right <= page.width_mm + 0.5, name
            assert box.top >= -0.5, name
            assert box.bottom <= page.height_mm + 0.5, name
            for other_name, other in boxes[place + 1 :]:
                assert not box.overlaps(other, slack_mm=HAIR_MM), (name, other_name)


@settings(max_examples=60, deadline=None)
@given(songs())
def test_every_chord_of_a_song_is_on_its_chart(song: Song) -> None:
    drawings = chart_pages(song, 180.0, 267.0)
    printed = [mark.plain for page in drawings for mark in page.texts]
    for section in song.sections:
        for bar in section.bars:
            for event in bar.events:
                if event.chord is not None:
                    root = str(event.chord.root).replace("b", "♭").replace("#", "♯")
                    assert any(word.startswith(root) for word in printed)


@settings(max_examples=60, deadline=None)
@given(bass_parts())
def test_stretches_hold_every_bar_and_every_stroke_once(part: Part) -> None:
    pieces = stretches(part)
    numbers = sorted(
        number for piece in pieces for low, high in piece.ranges for number in range(low, high + 1)
    )
    assert numbers == [bar.number for bar in part.bars]
    strokes = sum(len(piece.part.notes) * len(piece.ranges) for piece in pieces)
    assert strokes == len(part.notes)


@given(st.text(max_size=80), st.floats(2.0, 12.0), st.floats(15.0, 150.0))
def test_wrapped_lines_fit_and_lose_no_letter(words: str, size_mm: float, width_mm: float) -> None:
    lines = wrapped(words, size_mm, width_mm)
    assert "".join("".join(lines).split()) == "".join(words.split())
    assert all(text_width(line, size_mm) <= width_mm + 1e-6 for line in lines)


@given(st.text(max_size=30), st.sampled_from(list(Anchor)), st.sampled_from([REGULAR, BOLD]))
def test_a_text_is_as_wide_as_its_bounds(words: str, anchor: Anchor, weight: int) -> None:
    mark = text(10, 10, words, 4.0, weight=weight, anchor=anchor)
    assert abs(mark.bounds.right - mark.bounds.left - mark.width) < 1e-9


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(TUNINGS),
    st.sampled_from(MAJOR_KEYS),
    st.integers(5, 36),
    st.sampled_from(["left", "right"]),
)
def test_a_neck_stays_on_its_drawing(tuning: Tuning, key: Key, frets: int, hand: str) -> None:
    bass = Instrument(tuning, frets=frets, left_handed=hand == "left")
    drawing = neck_drawing(bass, key, width_mm=300)
    for mark in drawing.marks:
        box = mark.bounds
        assert box.left >= -0.3
        assert box.top >= -0.3
        assert box.right <= drawing.width_mm + 0.3
        assert box.bottom <= drawing.height_mm + 0.3
