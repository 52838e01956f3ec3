"""Drawing as values: lines, boxes, shapes and text at places in millimetres.

A `Drawing` is laid out completely before any ink: its marks can be measured, compared and checked
for overlap. `svg` and `pdf` put the same marks on a screen and on paper.

Conventions
-----------
x runs right and y runs down from the top left corner. A text stands on its baseline.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from undersong.page.ground import Ink
from undersong.page.lettering import CAP_EM, DESCENT_EM, REGULAR, text_width


@dataclass(frozen=True, slots=True)
class Bounds:
    """The rectangle that holds a mark."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Bounds, *, slack_mm: float = 0.0) -> bool:
        """True where both share more than `slack_mm` each way."""
        return (
            min(self.right, other.right) - max(self.left, other.left) > slack_mm
            and min(self.bottom, other.bottom) - max(self.top, other.top) > slack_mm
        )


Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight stroke; `dash_mm` breaks it, 0 does not."""

    x1: float
    y1: float
    x2: float
    y2: float
    width_mm: float
    ink: Ink = Ink.INK
    dash_mm: float = 0.0

    @property
    def bounds(self) -> Bounds:
        """Its rectangle, half the stroke added all round."""
        return _bounds(((self.x1, self.y1), (self.x2, self.y2)), self.width_mm / 2)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle with rounded corners, filled, outlined or both."""

    x: float
    y: float
    width: float
    height: float
    radius_mm: float = 0.0
    stroke_mm: float = 0.0
    stroke: Ink = Ink.INK
    fill: Ink | None = None
    dash_mm: float = 0.0

    @property
    def bounds(self) -> Bounds:
        """Its rectangle, half the outline added all round."""
        corners = ((self.x, self.y), (self.x + self.width, self.y + self.height))
        return _bounds(corners, self.stroke_mm / 2)


@dataclass(frozen=True, slots=True)
class Curve:
    """A cubic curve from `start` to `end` by two handles."""

    start: Point
    first: Point
    second: Point
    end: Point
    width_mm: float
    ink: Ink = Ink.INK
    dash_mm: float = 0.0

    @property
    def bounds(self) -> Bounds:
        """A rectangle that certainly holds it: that of its four points."""
        return _bounds((self.start, self.first, self.second, self.end), self.width_mm / 2)

    def at(self, share: float) -> Point:
        """The point at a share of its run, 0 to 1."""
        back = 1 - share
        weights = (back**3, 3 * back**2 * share, 3 * back * share**2, share**3)
        points = (self.start, self.first, self.second, self.end)
        x = sum(weight * point[0] for weight, point in zip(weights, points, strict=True))
        y = sum(weight * point[1] for weight, point in zip(weights, points, strict=True))
        return x, y


@dataclass(frozen=True, slots=True)
class Shape:
    """A polygon (or an open line of several strokes), filled, outlined or both."""

    points: tuple[Point, ...]
    stroke_mm: float = 0.0
    stroke: Ink = Ink.INK
    fill: Ink | None = None
    is_closed: bool = True

    @property
    def bounds(self) -> Bounds:
        """Its rectangle, half the outline added all round."""
        return _bounds(self.points, self.stroke_mm / 2)


_DESCENDING = frozenset("gjpqyQ,;()[]{}/|_")
_LOW, _LOW_EM = frozenset("-–. "), 0.4  # signs that stay below the height of small letters


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of text: its size and its lift above the baseline, as shares of the em."""

    text: str
    scale: float = 1.0
    lift: float = 0.0


class Anchor(StrEnum):
    """Which end of a text stands at its place."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text on a baseline.

    `heading` 1 to 3 makes it a bookmark of that level, by the name `bookmark` where that is not
    its own words (the first line of a long title).
    """

    x: float
    y: float
    runs: tuple[Run, ...]
    size_mm: float
    weight: int = REGULAR
    ink: Ink = Ink.INK
    anchor: Anchor = Anchor.START
    heading: int = 0
    bookmark: str = ""

    @property
    def plain(self) -> str:
        """All its runs as one string."""
        return "".join(run.text for run in self.runs)

    @property
    def width(self) -> float:
        """Width in mm."""
        return runs_width(self.runs, self.size_mm, self.weight)

    @property
    def left(self) -> float:
        """Where the line begins, whatever its anchor."""
        shares = {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}
        return self.x - shares[self.anchor] * self.width

    @property
    def bounds(self) -> Bounds:
        """From the height of capitals to the baseline, or below it where a letter descends."""
        top = max(run.lift + _tall(run.text) * run.scale for run in self.runs) * self.size_mm
        deep = max(
            DESCENT_EM * run.scale * bool(_DESCENDING & set(run.text)) - run.lift
            for run in self.runs
        )
        deep *= self.size_mm
        return Bounds(self.left, self.y - top, self.left + self.width, self.y + max(deep, 0.0))


Mark = Line | Box | Curve | Shape | Text


def _tall(words: str) -> float:
    return CAP_EM if set(words) - _LOW else _LOW_EM


def runs_width(runs: Iterable[Run], size_mm: float, weight: int = REGULAR) -> float:
    """Width in mm of runs side by side."""
    return sum(text_width(run.text, size_mm * run.scale, weight) for run in runs)


def text(
    x: float,
    y: float,
    words: str,
    size_mm: float,
    *,
    weight: int = REGULAR,
    ink: Ink = Ink.INK,
    anchor: Anchor = Anchor.START,
    heading: int = 0,
    bookmark: str = "",
) -> Text:
    """A plain line of text of one size."""
    return Text(x, y, (Run(words),), size_mm, weight, ink, anchor, heading, bookmark)


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks on a sheet of a size, in drawing order, and what they show in words.

    `title` names it; `description` is for those who do not see it.
    """

    width_mm: float
    height_mm: float
    marks: tuple[Mark, ...]
    title: str = ""
    description: str = ""

    @property
    def texts(self) -> tuple[Text, ...]:
        """Its texts, in order."""
        return tuple(mark for mark in self.marks if isinstance(mark, Text))

    def framed(self, margin_mm: float) -> Drawing:
        """The same drawing with a margin all round."""
        return replace(
            self,
            width_mm=self.width_mm + 2 * margin_mm,
            height_mm=self.height_mm + 2 * margin_mm,
            marks=tuple(shifted(mark, margin_mm, margin_mm) for mark in self.marks),
        )


def shifted(mark: Mark, x: float, y: float) -> Mark:
    """A mark moved right by x and down by y."""
    if isinstance(mark, Line):
        return replace(mark, x1=mark.x1 + x, y1=mark.y1 + y, x2=mark.x2 + x, y2=mark.y2 + y)
    if isinstance(mark, Curve):
        return replace(
            mark,
            start=_moved(mark.start, x, y),
            first=_moved(mark.first, x, y),
            second=_moved(mark.second, x, y),
            end=_moved(mark.end, x, y),
        )
    if isinstance(mark, Shape):
        return replace(mark, points=tuple(_moved(point, x, y) for point in mark.points))
    return replace(mark, x=mark.x + x, y=mark.y + y)


def _moved(point: Point, x: float, y: float) -> Point:
    return point[0] + x, point[1] + y


def _bounds(points: Iterable[Point], around: float) -> Bounds:
    xs, ys = zip(*points, strict=True)
    return Bounds(min(xs) - around, min(ys) - around, max(xs) + around, max(ys) + around)
