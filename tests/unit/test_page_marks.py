"""Marks: where they lie, and drawings as SVG."""

from __future__ import annotations

import pytest
from lxml import etree

from undersong.page.ground import EVENING, PAPER, Ink
from undersong.page.lettering import BOLD, CAP_EM, text_width
from undersong.page.marks import (
    Anchor,
    Bounds,
    Box,
    Curve,
    Drawing,
    Line,
    Run,
    Shape,
    Text,
    shifted,
    text,
)
from undersong.page.svg import svg_of

SVG = "{http://www.w3.org/2000/svg}"
EVERY_MARK = (
    Line(0, 5, 10, 5, 1.0, dash_mm=2.0),
    Box(1, 2, 3, 4, radius_mm=1.0, stroke_mm=0.5, fill=Ink.MARK),
    Curve((0, 0), (5, 10), (10, 10), (15, 0), 0.5),
    Shape(((0, 0), (4, 0), (4, 4)), 0.2, fill=Ink.INK),
    text(5, 9, "B♭ <&>", 3.0),
)


def test_bounds_reach_half_a_stroke_beyond() -> None:
    assert Line(0, 5, 10, 5, 1.0).bounds == Bounds(-0.5, 4.5, 10.5, 5.5)
    assert Box(1, 2, 3, 4, stroke_mm=2.0).bounds == Bounds(0, 1, 5, 7)


@pytest.mark.parametrize(("anchor", "share"), [("start", 0.0), ("middle", 0.5), ("end", 1.0)])
def test_a_text_hangs_on_its_anchor(anchor: str, share: float) -> None:
    mark = text(50, 20, "6-", 10.0, weight=BOLD, anchor=Anchor(anchor))
    width = text_width("6-", 10.0, BOLD)
    assert mark.bounds.left == pytest.approx(50 - share * width)
    assert mark.bounds.right - mark.bounds.left == pytest.approx(width)
    assert mark.bounds.top == pytest.approx(20 - 10.0 * CAP_EM)


def test_a_raised_run_makes_a_text_taller() -> None:
    low = Text(0, 10, (Run("2"),), 10.0)
    high = Text(0, 10, (Run("2"), Run("(7)", 0.5, 0.4)), 10.0)
    assert high.bounds.top < low.bounds.top
    assert high.plain == "2(7)"


def test_overlap_needs_both_ways() -> None:
    box = Bounds(0, 0, 10, 10)
    assert box.overlaps(Bounds(9, 9, 12, 12))
    assert not box.overlaps(Bounds(9, 10, 12, 12))
    assert not box.overlaps(Bounds(9, 9, 12, 12), slack_mm=1.5)


@pytest.mark.parametrize("mark", EVERY_MARK, ids=lambda mark: type(mark).__name__)
def test_a_shifted_mark_keeps_its_size(mark: Line | Box | Curve | Shape | Text) -> None:
    before, after = mark.bounds, shifted(mark, 7, -3).bounds
    assert after.left - before.left == pytest.approx(7)
    assert after.right - before.right == pytest.approx(7)
    assert after.top - before.top == pytest.approx(-3)
    assert after.bottom - before.bottom == pytest.approx(-3)


def test_a_curve_ends_where_it_says() -> None:
    curve = Curve((0, 0), (5, 10), (10, 10), (15, 0), 0.5)
    assert curve.at(0) == (0, 0)
    assert curve.at(1) == (15, 0)
    assert curve.at(0.5) == pytest.approx((7.5, 7.5))


def test_an_svg_says_what_it_shows() -> None:
    drawing = Drawing(40, 30, EVERY_MARK, "A <title>", "What it shows & why")
    root = etree.fromstring(svg_of(drawing, PAPER).encode())
    assert root.findtext(f"{SVG}title") == "A <title>"
    assert root.findtext(f"{SVG}desc") == "What it shows & why"
    assert root.get("viewBox") == "0 0 40 30"
    assert root.get("width") == "40mm"
    assert root.findtext(f"{SVG}text") == "B♭ <&>"
    tags = [etree.QName(child).localname for child in root]
    assert tags == ["title", "desc", "rect", "line", "rect", "path", "polygon", "text"]


def test_an_svg_wears_the_colours_of_its_ground() -> None:
    drawing = Drawing(40, 30, EVERY_MARK)
    for ground in (PAPER, EVENING):
        svg = svg_of(drawing, ground)
        assert f'fill="{ground.ground}"' in svg
        assert f'stroke="{ground.ink}"' in svg
        assert f'fill="{ground.mark}"' in svg


def test_runs_stand_side_by_side_in_an_svg() -> None:
    mark = Text(10, 20, (Run("2"), Run("-", 1.2), Run("(7)", 0.5, 0.4)), 10.0, BOLD)
    root = etree.fromstring(svg_of(Drawing(40, 30, (mark,)), PAPER).encode())
    spans = root.findall(f".//{SVG}tspan")
    assert [span.text for span in spans] == ["2", "-", "(7)"]
    places = [float(span.get("x", "nan")) for span in spans]
    assert places[1] - places[0] == pytest.approx(text_width("2", 10.0, BOLD), abs=0.01)
    assert float(spans[2].get("y", "nan")) == pytest.approx(20 - 4.0)


def test_a_frame_leaves_room_all_round() -> None:
    framed = Drawing(40, 30, EVERY_MARK).framed(5)
    assert (framed.width_mm, framed.height_mm) == (50, 40)
    assert framed.marks[1].bounds.left == pytest.approx(EVERY_MARK[1].bounds.left + 5)
