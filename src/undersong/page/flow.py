"""Prose pages in the typesetter's language: headings, paragraphs, tables, lists, music.

Every word goes through `quoted`: what a title or a name says is never taken for markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from undersong.page.ground import Ground, Ink
from undersong.page.lettering import prose_signs
from undersong.page.notation import System
from undersong.page.pdf import ink_rgb, mm, picture, quoted

SMALL = 0.84  # of the body's size


def heading(words: str, level: int) -> str:
    """A heading, bookmarked."""
    return f"#heading(level: {level}, {quoted(words)})"


def paragraph(words: str) -> str:
    """Running text."""
    return f"#par(text({quoted(prose_signs(words))}))"


def small(words: str, ground: Ground) -> str:
    """A note in pencil."""
    return f"#par({small_text(words, ground)})"


def small_text(words: str, ground: Ground) -> str:
    """The same within a line, as code."""
    said = quoted(prose_signs(words))
    return f"text(size: {SMALL}em, fill: {ink_rgb(ground, Ink.PENCIL)}, {said})"


def bullets(items: Iterable[str]) -> str:
    """A list."""
    return "#list(" + ", ".join(f"text({quoted(item)})" for item in items) + ")"


def table(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    columns: str,
    ground: Ground,
    *,
    bold_column: int | None = None,
    cells: Sequence[Sequence[str]] = (),
    inset_mm: float = 1.5,
) -> str:
    """A table with a head row and hairlines; `columns` as the typesetter counts widths.

    `rows` are words. `cells`, where given, are further columns as source, one sequence to each
    row (or, without `rows`, whole rows).
    """
    pencil = ink_rgb(ground, Ink.PENCIL)
    line = f"table.hline(stroke: {mm(0.2)} + {pencil})"
    header = ", ".join(f"text(size: {SMALL}em, fill: {pencil}, {quoted(word)})" for word in head)
    parts = [f"table.header({header})", line]
    for place in range(max(len(rows), len(cells))):
        for column, word in enumerate(rows[place] if rows else ()):
            weight = 700 if column == bold_column else 400
            parts.append(f"text(weight: {weight}, {quoted(prose_signs(word))})")
        parts += cells[place] if cells else ()
    inset = f"inset: (x: 0mm, y: {mm(inset_mm)})"
    return f"#table(columns: {columns}, column-gutter: 4mm, {inset}, {', '.join(parts)}, {line})"


def music(systems: Sequence[System], words: str) -> str:
    """Systems one under another; `words` say what they are to those who do not see them."""
    blocks = []
    for place, system in enumerate(systems, 1):
        alt = f"{words}, line {place} of {len(systems)}. {system.in_words}"
        blocks.append(picture(system.svg, system.width_mm, alt))
    return "\n".join(blocks)


def kept_together(parts: Iterable[str]) -> str:
    """Pieces that stay on one page."""
    inner = "\n".join(parts)
    return f"#block(breakable: false, width: 100%, above: {mm(6)})[\n{inner}\n]"


def space(height_mm: float) -> str:
    """White space, none at the top of a page."""
    return f"#v({mm(height_mm)}, weak: true)"
