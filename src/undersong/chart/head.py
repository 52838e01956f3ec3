"""The headers of a chart: what stands above its first section, and the order wherever it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from undersong.chart import headers
from undersong.chart.faults import Faults
from undersong.chart.lines import Line, is_lone_meter, meant_header
from undersong.chart.signs import SignError, tokens_of
from undersong.chart.song import ASSUMED_TEMPO_BPM, Style
from undersong.theory.key import Key, MinorHabit, Mode, parse_key
from undersong.theory.meter import FOUR_FOUR, Meter
from undersong.theory.pitch import Pitch

UNTITLED = "Untitled"
_IN_SONG = ("key", "meter", "note")  # may also stand among the sections
_T = TypeVar("_T")


@dataclass(slots=True)
class Head:
    """What the headers say. `assumed` names those that were not written."""

    title: str = UNTITLED
    key: Key = field(default_factory=lambda: parse_key("C"))
    capo: int = 0
    meter: Meter = FOUR_FOUR
    tempo_bpm: float = ASSUMED_TEMPO_BPM
    feel: str = ""
    habit: MinorHabit = MinorHabit.RELATIVE
    melody: tuple[Pitch, Pitch] | None = None
    notes: tuple[str, ...] = ()
    others: tuple[tuple[str, str], ...] = ()
    order: tuple[Line, ...] = ()
    assumed: frozenset[str] = frozenset()
    at: dict[str, list[int]] = field(default_factory=dict)  # line indices of each header


def read_head(lines: list[Line], style: Style, faults: Faults) -> Head:
    """Read every header line; errors and guesses go to `faults`."""
    return _HeadReader(lines, style, faults).read()


class _HeadReader:
    def __init__(self, lines: list[Line], style: Style, faults: Faults) -> None:
        self.lines = lines
        self.style = style
        self.faults = faults
        self.found: dict[str, list[Line]] = {}
        self.others: list[Line] = []
        self.assumed: set[str] = set()

    def read(self) -> Head:
        self._gather()
        key = self._key()
        meter = self._value("meter", headers.read_meter, FOUR_FOUR)
        return Head(
            title=self._value("title", lambda text, _: text, UNTITLED),
            key=key,
            capo=self._value("capo", headers.read_capo, 0) if "capo" in self.found else 0,
            meter=meter,
            tempo_bpm=self._tempo(meter),
            feel=self._value("feel", lambda text, _: text, ""),
            habit=self._habit(key),
            melody=self._value("melody", headers.read_range, None),
            notes=tuple(line.value for line in self.found.get("note", ())),
            others=tuple((line.name, line.value) for line in self.others),
            order=tuple(self.found.get("order", ())),
            assumed=frozenset(self.assumed),
            at={name: [line.index for line in found] for name, found in self.found.items()}
            | ({"other": [line.index for line in self.others]} if self.others else {}),
        )

    def _gather(self) -> None:
        in_song = False
        for line in self.lines:
            in_song = in_song or line.kind in ("bars", "section")
            if line.kind == "header" and not (in_song and line.name in _IN_SONG):
                self._take(line, in_song=in_song)
            elif line.kind == "other":
                self._take_other(line, in_song=in_song)

    def _take(self, line: Line, *, in_song: bool) -> None:
        many = line.name in ("note", "order")
        if not line.value:
            self.faults.error(line.index, line.column, f"The {line.name} is missing here.")
        elif line.name in self.found and not many:
            first = self.found[line.name][0].index + 1
            self.faults.error(
                line.index, 1, f"The {line.name} is already given in line {first}.", means=True
            )
        elif in_song and not many:
            self.faults.error(
                line.index, 1, f"Write the {line.name} at the top, before the first section."
            )
        else:
            self.found.setdefault(line.name, []).append(line)
            if line.name == "meter" and is_lone_meter(line):
                self.faults.remark(line.index, 1, f"{line.value} is read as the meter.")

    def _take_other(self, line: Line, *, in_song: bool) -> None:
        words = line.name.casefold().split()
        meant = meant_header(line.name)
        if meant is not None:
            self.faults.error(
                line.index, 1, f"{line.name} is no header: did you mean {meant.capitalize()}?"
            )
        elif in_song or words[0] in headers.SECTION_WORDS:
            self.faults.error(
                line.index,
                _value_column(line),
                "These are no chords: write a note to the player after two dashes, as in "
                "-- softly, or start the line with # to keep it to yourself.",
            )
        else:
            self.others.append(line)
            self.faults.remark(line.index, 1, f"{line.name} is kept and not used.", "left out")

    def _value(self, name: str, read: Callable[[str, int], _T], default: _T) -> _T:
        lines = self.found.get(name)
        if not lines:
            self.assumed.add(name)
            return default
        try:
            return read(lines[0].value, _value_column(lines[0]))
        except SignError as error:
            self.faults.sign_error(lines[0].index, error)
            return default

    def _tempo(self, meter: Meter) -> float:
        tempo_bpm = self._value(
            "tempo", lambda text, at: headers.read_tempo(text, at, meter), ASSUMED_TEMPO_BPM
        )
        if "tempo" in self.assumed:
            self.faults.remark(-1, 0, f"No tempo is written; {ASSUMED_TEMPO_BPM:g} is assumed.")
        return tempo_bpm

    def _key(self) -> Key:
        key = self._value("key", headers.read_key, parse_key("C"))
        if "key" in self.assumed and self.style is Style.NUMBERS:
            self.faults.remark(-1, 0, "No key is written; C is assumed.")
        elif "key" in self.assumed:
            self.faults.error(
                -1,
                0,
                "This chart is in letters and names no key: write one at the top, as in Key: G.",
                means=True,
            )
        return key

    def _habit(self, key: Key) -> MinorHabit:
        habit = self._value("minor", headers.read_habit, MinorHabit.RELATIVE)
        if "minor" not in self.assumed or key.mode is Mode.MAJOR or self.style is Style.LETTERS:
            return habit
        homes = {"1-": 0, "6-": 0}
        for line in self.lines:
            if line.kind == "bars":
                for token in tokens_of(line.plain, 1):
                    home = token.text.strip("|:<>!.()")[:2].replace("m", "-")
                    homes[home] = homes.get(home, 0) + 1
        if homes["1-"] > homes["6-"]:
            self.faults.remark(-1, 0, f"The numbers are read with {key} as 1-.")
            return MinorHabit.TONIC
        return habit


def _value_column(line: Line) -> int:
    rest = line.raw[line.column - 1 :]
    return line.column + len(rest) - len(rest.lstrip())
