"""All that is found wrong or doubtful while one chart is read, with its place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from undersong.chart.lines import Line
from undersong.chart.signs import SignError
from undersong.chart.song import Remark
from undersong.errors import ChartError, ChartMeaningError, ChartSyntaxError

MAX_ERRORS = 100
MAX_SHOWN_LINE = 500


@dataclass(slots=True)
class Faults:
    """Errors and remarks of one chart. Line indices count from 0, columns from 1."""

    lines: list[str]
    source: str | None
    errors: list[ChartError] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)

    @property
    def is_full(self) -> bool:
        """True where reading on would only add to a hopeless list."""
        return len(self.errors) >= MAX_ERRORS

    def error(self, index: int, column: int, message: str, *, means: bool = False) -> None:
        """Note an error; `means` where the signs are clear and the music is not."""
        if self.is_full:
            return
        kind = ChartMeaningError if means else ChartSyntaxError
        text = self.lines[index] if 0 <= index < len(self.lines) else ""
        if len(text) > MAX_SHOWN_LINE:
            text = ""  # no one could find the pointer under it
        self.errors.append(
            kind(message, text=text, line=index + 1, column=column, source=self.source)
        )

    def sign_error(self, index: int, error: SignError) -> None:
        """Note what a sign reader could not read."""
        self.error(index, error.column, error.message, means=error.means)

    def remark(self, index: int, column: int, text: str, kind: str = "guessed") -> None:
        """Note a guess, or a thing left out."""
        self.remarks.append(Remark(index + 1, column, kind, text))

    def attempt(self, line: Line, read: Callable[[Line], None]) -> None:
        """Read a line; what it cannot be is noted."""
        try:
            read(line)
        except SignError as error:
            self.sign_error(line.index, error)

    @property
    def in_order(self) -> list[ChartError]:
        """The errors by their place."""
        return sorted(self.errors, key=lambda each: (each.line, each.column))
