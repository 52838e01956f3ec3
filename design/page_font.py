"""Make the face of the pages: an open text face with the musical signs it lacks, drawn here.

Run: python design/page_font.py FOLDER, where FOLDER holds the unpacked npm package
`@fontsource/atkinson-hyperlegible-next` (5.3.0, SIL Open Font License 1.1). Needs fonttools.
Writes the faces and their advance widths into src/undersong/page/fonts. The signs are plain
shapes drawn for these pages, as heavy as the letters beside them, so that a flat never goes
missing and never looks like a stranger.
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path

from fontTools.merge import Merger
from fontTools.pens.cu2quPen import Cu2QuPen
from fontTools.pens.recordingPen import RecordingPen
from fontTools.pens.reverseContourPen import ReverseContourPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

FAMILY = "Undersong Text"
OUT = Path(__file__).parents[1] / "src" / "undersong" / "page" / "fonts"
STYLES = {400: "Regular", 700: "Bold"}
THIN = {400: 58, 700: 88}  # upright strokes of the signs, in thousandths of the em
THICK = {400: 92, 700: 138}  # their slanting beams
ZERO_STEM = {400: 84, 700: 132}
Point = tuple[float, float]


class Signs:
    """Draws one sign at a time into a glyph."""

    def __init__(self, weight: int) -> None:
        self.thin, self.thick = THIN[weight], THICK[weight]
        self.begin()

    def begin(self) -> None:
        """A fresh glyph."""
        self.glyphs = TTGlyphPen(None)
        self.pen = Cu2QuPen(self.glyphs, max_err=1.0, reverse_direction=False)

    def polygon(self, *points: Point) -> None:
        """A closed shape of straight sides."""
        self.pen.moveTo(points[0])
        for point in points[1:]:
            self.pen.lineTo(point)
        self.pen.closePath()

    def upright(self, x: float, low: float, high: float) -> None:
        """An upright stroke."""
        half = self.thin / 2
        self.polygon((x - half, low), (x - half, high), (x + half, high), (x + half, low))

    def beam(self, left: float, right: float, y: float, rise: float) -> None:
        """A slanting beam."""
        half = self.thick / 2
        self.polygon(
            (left, y - half), (left, y + half), (right, y + rise + half), (right, y + rise - half)
        )

    def sharp(self) -> int:
        """Its advance; so for every sign below."""
        for x, lift in ((165, 0), (315, 40)):
            self.upright(x, -40 + lift, 680 + lift)
        for y in (205, 425):
            self.beam(60, 420, y, 70)
        return 480

    def natural(self) -> int:
        """Two uprights, two beams."""
        self.upright(105, 60, 740)
        self.upright(315, -80, 600)
        half = self.thin / 2
        for y in (170, 420):
            self.beam(105 - half, 315 + half, y, 60)
        return 420

    def flat(self, x: float = 0) -> int:
        """A stem and a bowl."""
        thin, thick = self.thin, self.thick
        left, right = x + 70, x + 70 + thin
        edge = x + 390
        self.pen.moveTo((left, -30))
        self.pen.lineTo((left, 760))
        self.pen.lineTo((right, 760))
        self.pen.lineTo((right, 372))
        self.pen.curveTo((x + 200, 430), (x + 250, 440), (x + 285, 440))
        self.pen.curveTo((x + 350, 440), (edge, 395), (edge, 325))
        self.pen.curveTo((edge, 200), (x + 230, 110), (left, -30))
        self.pen.closePath()
        # the eye of the bowl, wound the other way
        self.pen.moveTo((right, 110 + thin * 0.2))
        self.pen.curveTo((x + 215, 180), (edge - thick * 1.1, 245), (edge - thick * 1.1, 320))
        self.pen.curveTo((edge - thick * 1.1, 352), (x + 275, 366), (x + 250, 366))
        self.pen.curveTo((x + 215, 366), (x + 175, 345), (right, 290))
        self.pen.closePath()
        return 440

    def double_flat(self) -> int:
        """Two flats, close."""
        self.flat()
        self.flat(330)
        return 770

    def double_sharp(self) -> int:
        """A small cross."""
        t = self.thick * 0.75
        for a, b in (((60, 160), (400, 500)), ((60, 500), (400, 160))):
            s = 1 if b[1] > a[1] else -1
            points = [
                (a[0], a[1] + s * t),
                (b[0] - t, b[1]),
                (b[0], b[1] - s * t),
                (a[0] + t, a[1]),
            ]
            self.polygon(*points[::s])  # both wound the same way, or they would cut holes
        return 460

    def triangle(self) -> int:
        """An outlined triangle."""
        self.polygon((50, 0), (330, 660), (610, 0))
        t = self.thin
        self.polygon((50 + t * 1.5, t), (610 - t * 1.5, t), (330, 660 - t * 2.4))
        return 660

    def diamond(self) -> int:
        """An outlined diamond."""
        for r in (1.0, 1.0 - self.thin / 190):
            x, y = 280 * r, 300 * r
            points = [(330, 334 + y), (330 + x, 334), (330, 334 - y), (330 - x, 334)]
            self.polygon(*(points if r == 1.0 else points[::-1]))
        return 660

    def arrow(self, *, way: str) -> int:
        """A shaft and a head."""
        t = self.thin / 2
        shaft = [(60, 334 - t), (60, 334 + t), (560, 334 + t), (560, 334 - t)]
        head = [(470, 334 + 150), (660, 334), (470, 334 - 150)]
        turns = {
            "right": lambda x, y: (x, y),
            "left": lambda x, y: (720 - x, 668 - y),
            "up": lambda x, y: (360 + (334 - y), x - 20),
            "down": lambda x, y: (360 + (y - 334), 700 - x),
        }
        for shape in (shaft, head):
            self.polygon(*(turns[way](x, y) for x, y in shape))
        return 720


def merged(folder: Path, weight: int, work: Path) -> TTFont:
    """The Latin and extended Latin files as one font."""
    paths = []
    for part in ("latin", "latin-ext"):
        font = TTFont(folder / f"atkinson-hyperlegible-next-{part}-{weight}-normal.woff")
        font.flavor = None
        path = work / f"{part}-{weight}.ttf"
        font.save(path)
        paths.append(str(path))
    return Merger().merge(paths)


def add_signs(font: TTFont, weight: int) -> None:
    """Draw the signs and enter them in the font's tables."""
    signs = Signs(weight)
    draw = {
        0x266F: signs.sharp, 0x266E: signs.natural, 0x266D: signs.flat,
        0x1D12A: signs.double_sharp, 0x1D12B: signs.double_flat,
        0x25B3: signs.triangle, 0x25C7: signs.diamond,
        0x2190: lambda: signs.arrow(way="left"), 0x2192: lambda: signs.arrow(way="right"),
        0x2191: lambda: signs.arrow(way="up"), 0x2193: lambda: signs.arrow(way="down"),
    }  # fmt: skip
    glyf, hmtx = font["glyf"], font["hmtx"]
    order = font.getGlyphOrder()
    for code, drawn in draw.items():
        name = f"u{code:04X}"
        signs.begin()
        advance = drawn()
        glyph = signs.glyphs.glyph()
        if name not in order:
            order = [*order, name]
        font.setGlyphOrder(order)
        glyf[name] = glyph
        glyph.recalcBounds(glyf)
        hmtx[name] = (advance, glyph.xMin)
        for table in font["cmap"].tables:
            if table.format == 12 or code <= 0xFFFF:
                table.cmap[code] = name


def open_zero(font: TTFont, weight: int) -> None:
    """The figure 0 without its slash: on a music page that would be a half-diminished chord.

    The outer curve stays; the two halves inside give way to one curve of the same kind.
    """
    glyf, name = font["glyf"], font.getBestCmap()[ord("0")]
    pen = RecordingPen()
    glyf[name].draw(pen, glyf)
    contours: list[list[tuple[str, tuple[Point, ...]]]] = []
    for action, points in pen.value:
        if action == "moveTo":
            contours.append([])
        contours[-1].append((action, points))
    outer = max(
        contours, key=lambda each: _width([point for _, some in each for point in some or ()])
    )
    points = [point for _, some in outer for point in some if point]
    xs, ys = [point[0] for point in points], [point[1] for point in points]
    middle = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    shares = (
        1 - 2 * ZERO_STEM[weight] / (max(xs) - min(xs)),
        1 - 2 * ZERO_STEM[weight] * 0.86 / (max(ys) - min(ys)),
    )
    new = TTGlyphPen(None)
    inner = RecordingPen()
    for action, some in outer:
        getattr(new, action)(*some)
        moved = tuple(
            (middle[0] + (x - middle[0]) * shares[0], middle[1] + (y - middle[1]) * shares[1])
            for x, y in some
        )
        getattr(inner, action)(*moved)
    inner.replay(ReverseContourPen(new))
    glyf[name] = new.glyph()
    glyf[name].recalcBounds(glyf)


def _width(points: list[Point]) -> float:
    return max(x for x, _ in points) - min(x for x, _ in points)


def with_wide_cmap(font: TTFont) -> None:
    """A character table that reaches the double sharp and flat."""
    from fontTools.ttLib.tables._c_m_a_p import CmapSubtable

    if any(table.format == 12 for table in font["cmap"].tables):
        return
    wide = CmapSubtable.newSubtable(12)
    wide.platformID, wide.platEncID, wide.language = 3, 10, 0
    wide.cmap = dict(font.getBestCmap())
    font["cmap"].tables.append(wide)


def rename(font: TTFont, weight: int) -> None:
    """Our own name, the makers' copyright and licence."""
    style = STYLES[weight]
    names = font["name"]
    copyright_ = names.getDebugName(0)
    names.names = []
    entries = {
        0: f"{copyright_}; musical signs and arrows: the Undersong project",
        1: FAMILY, 2: style, 3: f"{FAMILY} {style} 1.0", 4: f"{FAMILY} {style}",
        5: "Version 1.000", 6: f"UndersongText-{style}",
        13: "This Font Software is licensed under the SIL Open Font License, Version 1.1.",
        14: "https://openfontlicense.org",
    }  # fmt: skip
    for number, text in entries.items():
        names.setName(text, number, 3, 1, 0x409)
    font["OS/2"].usWeightClass = weight
    font["OS/2"].fsSelection = 0x40 if weight == 400 else 0x20
    font["head"].macStyle = 0 if weight == 400 else 1


def main(folder: Path) -> None:
    """Make both weights, their widths and the licence file."""
    OUT.mkdir(parents=True, exist_ok=True)
    widths: dict[str, dict[str, int]] = {}
    with tempfile.TemporaryDirectory() as work:
        for weight, style in STYLES.items():
            font = merged(folder / "files", weight, Path(work))
            with_wide_cmap(font)
            add_signs(font, weight)
            open_zero(font, weight)
            rename(font, weight)
            font["maxp"].numGlyphs = len(font.getGlyphOrder())
            font.save(OUT / f"UndersongText-{style}.ttf")
            cmap, hmtx = font.getBestCmap(), font["hmtx"]
            widths[str(weight)] = {chr(code): hmtx[name][0] for code, name in sorted(cmap.items())}
    text = json.dumps(widths, ensure_ascii=True, separators=(",", ":"))
    (OUT / "widths.json").write_text(text + "\n", encoding="utf-8")
    licence = (folder / "LICENSE").read_text("utf-8")
    note = (
        "Undersong Text is made of the face named below, with musical signs and arrows added.\n\n"
    )
    (OUT / "OFL.txt").write_text(note + licence, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
