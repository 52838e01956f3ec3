"""A drawing as SVG: real text, a title and a description inside."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from undersong.page.ground import Ground
from undersong.page.lettering import FALLBACK, FAMILY, text_width
from undersong.page.marks import Box, Curve, Drawing, Line, Mark, Run, Shape, Text


def svg_of(drawing: Drawing, ground: Ground) -> str:
    """The drawing as one SVG document, a millimetre to each user unit."""
    width, height = number(drawing.width_mm), number(drawing.height_mm)
    family = quoteattr(f"{FAMILY}, {FALLBACK}, sans-serif")
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}" role="img" font-family={family}>',
        f"<title>{escape(drawing.title)}</title>",
        f"<desc>{escape(drawing.description)}</desc>",
        f'<rect width="{width}" height="{height}" fill="{ground.ground}"/>',
        *(_mark(mark, ground) for mark in drawing.marks),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def number(value: float) -> str:
    """Hundredths of a millimetre, without needless zeros."""
    return f"{value:.2f}".rstrip("0").rstrip(".") or "0"


def _mark(mark: Mark, ground: Ground) -> str:
    if isinstance(mark, Line):
        ends = zip(("x1", "y1", "x2", "y2"), (mark.x1, mark.y1, mark.x2, mark.y2), strict=True)
        places = " ".join(f'{name}="{number(value)}"' for name, value in ends)
        return f"<line {places}{_stroke(ground.colour(mark.ink), mark.width_mm, mark.dash_mm)}/>"
    if isinstance(mark, Box):
        return _box(mark, ground)
    if isinstance(mark, Curve):
        points = " ".join(
            f"{number(x)},{number(y)}" for x, y in (mark.first, mark.second, mark.end)
        )
        start = f"{number(mark.start[0])},{number(mark.start[1])}"
        stroke = _stroke(ground.colour(mark.ink), mark.width_mm, mark.dash_mm)
        return f'<path d="M{start} C{points}" fill="none"{stroke}/>'
    if isinstance(mark, Shape):
        return _shape(mark, ground)
    return _text(mark, ground)


def _stroke(colour: str, width_mm: float, dash_mm: float = 0.0) -> str:
    if not width_mm:
        return ""
    dash = f' stroke-dasharray="{number(dash_mm)}"' if dash_mm else ""
    return f' stroke="{colour}" stroke-width="{number(width_mm)}" stroke-linecap="round"{dash}'


def _box(mark: Box, ground: Ground) -> str:
    fill = "none" if mark.fill is None else ground.colour(mark.fill)
    stroke = _stroke(ground.colour(mark.stroke), mark.stroke_mm, mark.dash_mm)
    return (
        f'<rect x="{number(mark.x)}" y="{number(mark.y)}" width="{number(mark.width)}" '
        f'height="{number(mark.height)}" rx="{number(mark.radius_mm)}" fill="{fill}"{stroke}/>'
    )


def _shape(mark: Shape, ground: Ground) -> str:
    points = " ".join(f"{number(x)},{number(y)}" for x, y in mark.points)
    fill = "none" if mark.fill is None else ground.colour(mark.fill)
    kind = "polygon" if mark.is_closed else "polyline"
    stroke = _stroke(ground.colour(mark.stroke), mark.stroke_mm)
    return f'<{kind} points="{points}" fill="{fill}"{stroke} stroke-linejoin="round"/>'


def _text(mark: Text, ground: Ground) -> str:
    weight = f' font-weight="{mark.weight}"' if mark.weight != 400 else ""
    head = (
        f'<text y="{number(mark.y)}" fill="{ground.colour(mark.ink)}" '
        f'font-size="{number(mark.size_mm)}"{weight}'
    )
    if len(mark.runs) == 1 and mark.runs[0].scale == 1.0 and not mark.runs[0].lift:
        return (
            f'{head} x="{number(mark.x)}" text-anchor="{mark.anchor.value}">'
            f"{escape(mark.plain)}</text>"
        )
    spans, x = [], mark.left
    for run in mark.runs:
        spans.append(_span(run, mark, x))
        x += text_width(run.text, mark.size_mm * run.scale, mark.weight)
    return f"{head}>{''.join(spans)}</text>"


def _span(run: Run, mark: Text, x: float) -> str:
    size, y = mark.size_mm * run.scale, mark.y - run.lift * mark.size_mm
    return (
        f'<tspan x="{number(x)}" y="{number(y)}" font-size="{number(size)}">'
        f"{escape(run.text)}</tspan>"
    )
