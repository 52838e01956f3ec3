"""The one exception family; imports nothing.

UndersongError
├── TheoryError          a note, key, chord, meter or part that cannot be
├── ChartError           a chart (or sheet, or set) that cannot be read; has line and column
│   ├── ChartSyntaxError     the signs cannot be understood
│   └── ChartMeaningError    the signs are clear, the music is not
├── ChartErrors          every ChartError of one chart, in order
├── UnplayableError      no place on this neck for this note
├── LineError            a line asked for at a level, bar or section there is not
├── ExchangeError        a MIDI, MusicXML or JSON file that is no Part
├── AudioError           a file that is no sound, or a sound that cannot be written
├── PageError            a page that cannot be drawn
├── PracticeError        a history or a setting the practice rules cannot use
└── LogError             the practice log cannot be opened, read or written

Only the two doors (`cli` and `web`) catch the family.
"""

from __future__ import annotations


class UndersongError(Exception):
    """Anything a musician can put right; its text is one clear sentence."""


class TheoryError(UndersongError):
    """A note name, key, chord, meter or part that does not exist."""


class ChartError(UndersongError):
    """One thing wrong in a chart, and where.

    Attributes
    ----------
    message
        What is wrong, and what would be right.
    text
        The offending line, without its newline ("" where there is none).
    line, column
        1-based; 0 where the chart as a whole is meant.
    source
        File name, or None.
    """

    def __init__(
        self,
        message: str,
        *,
        text: str = "",
        line: int = 0,
        column: int = 0,
        source: str | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.text = text
        self.line = line
        self.column = column
        self.source = source

    def __str__(self) -> str:
        where = [self.source] if self.source else []
        if self.line:
            where.append(f"line {self.line}")
            where.append(f"column {self.column}")
        head = f"{', '.join(where)}: {self.message}" if where else self.message
        if not self.text or not self.line:
            return head
        # Tabs stay tabs in the pointer line, so that the caret stands under its sign.
        lead = "".join("\t" if c == "\t" else " " for c in self.text[: self.column - 1])
        return f"{head}\n    {self.text}\n    {lead}^"


class ChartSyntaxError(ChartError):
    """Signs that cannot be read."""


class ChartMeaningError(ChartError):
    """Signs that read well and make no music."""


class ChartErrors(UndersongError):
    """All that is wrong with one chart, in the order of its lines."""

    def __init__(self, errors: list[ChartError]) -> None:
        super().__init__("\n".join(str(error) for error in errors))
        self.errors = tuple(errors)


class UnplayableError(UndersongError):
    """A note (or a part) that this instrument cannot play; says the nearest choice.

    Attributes
    ----------
    midi
        MIDI number of the note, or None where the part as a whole is meant.
    nearest_midi
        The nearest that can be played, or None.
    index
        Which note of the part, or None.
    """

    def __init__(
        self,
        message: str,
        *,
        midi: int | None = None,
        nearest_midi: int | None = None,
        index: int | None = None,
    ) -> None:
        super().__init__(message)
        self.midi = midi
        self.nearest_midi = nearest_midi
        self.index = index


class LineError(UndersongError):
    """A line asked for at a level, in a bar or for a section that does not exist."""


class ExchangeError(UndersongError):
    """A MIDI, MusicXML or JSON file that does not hold a Part."""


class AudioError(UndersongError):
    """A file that is no sound, or a sound that cannot be written."""


class PageError(UndersongError):
    """A page that cannot be drawn."""


class PracticeError(UndersongError):
    """A history or a setting that the practice rules cannot use."""


class LogError(UndersongError):
    """The practice log cannot be opened, read or written."""
