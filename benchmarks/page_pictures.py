"""Make the pictures of docs/pack.md from freshly made packs of the demo.

    python benchmarks/page_pictures.py

Writes docs/pack/*.png: real pages, drawn by PDFium at 72 dots to the inch in 24 colours.
"""

from __future__ import annotations

import datetime
import sys
from pathlib import Path

import pypdfium2
from PIL import Image

from page_pack import DEMO, bass_of, with_lines
from undersong.chart.setlist import parse_set, set_songs
from undersong.exchange import musicxml_bytes
from undersong.page.diagram import neck_png
from undersong.page.pack import Edition, PackPlayer, PlanDay, PlanTurn, pack_pdf
from undersong.practice.plan import PlanSong, week_plan
from undersong.theory.key import parse_key

OUT = Path(__file__).parents[1] / "docs" / "pack"
DPI, COLOURS = 72, 24
# name: player's place in the set, look, a word of the page, and a word of its heading
PAGES = {
    "cover": (0, "print", "First Sunday of Advent", "Page 1 of"),
    "chart": (0, "print", "Rooftops Before the Bells", "Roadmap"),
    "line": (2, "print", "Seven Lamps on the Ferry: the line", ""),
    "neck-left": (1, "print", "Barley After Rain: on the neck", ""),
    "loops": (2, "print", "Barley After Rain: three bars to loop first", ""),
    "week": (0, "print", "This week", "20 minutes"),
    "care": (0, "print", "Hands and ears", "Stop for the day"),
    "black": (2, "black", "Slow Water, Bright Stone", "Roadmap"),
    "large": (0, "large", "Slow Water, Bright Stone", "Roadmap"),
}


def made(place: int, look: str) -> bytes:
    """One player's pack."""
    setlist = parse_set((DEMO / "sunday.toml").read_text("utf-8"))
    charts = {each.file: (DEMO / each.file).read_text("utf-8") for each in setlist.songs}
    songs = set_songs(setlist, charts)
    player = setlist.players[place]
    names = [
        PlanSong(song.title, song.title, song.tempo_bpm, tuple(s.name for s in song.sections))
        for song in songs
    ]
    days = week_plan(names, (), first_day=datetime.date(2026, 11, 23))
    return pack_pdf(
        setlist.title,
        setlist.date,
        with_lines(songs, player),
        PackPlayer(player.name, player.level, bass_of(player), player.notes),
        musicxml=musicxml_bytes,
        edition=Edition(datetime.date(2026, 11, 24), "1"),
        plan=[
            PlanDay(day.day, tuple(PlanTurn(turn.minutes, turn.text) for turn in day.items))
            for day in days
        ],
        look=look,
        set_notes=setlist.notes,
    )


def picture_of(pdf: bytes, words: tuple[str, str]) -> Image.Image:
    """The first page that holds all the words."""
    document = pypdfium2.PdfDocument(pdf)
    for page in document:
        text = " ".join(page.get_textpage().get_text_range().split())
        if all(word in text for word in words):
            picture: Image.Image = page.render(scale=DPI / 72).to_pil()
            return picture.convert("RGB")
    raise SystemExit(f"no page says {words}")


def main() -> int:
    """Write them all and say how large they are."""
    OUT.mkdir(exist_ok=True)
    packs: dict[tuple[int, str], bytes] = {}
    for name, (place, look, *words) in PAGES.items():
        key = place, look
        packs[key] = packs[key] if key in packs else made(place, look)
        picture = picture_of(packs[key], (words[0], words[1]))
        small = picture.quantize(COLOURS, dither=Image.Dither.NONE)
        small.save(OUT / f"{name}.png", optimize=True)
    setlist = parse_set((DEMO / "sunday.toml").read_text("utf-8"))
    bass = bass_of(setlist.players[0])
    (OUT / "neck.png").write_bytes(neck_png(bass, parse_key("G"), ground="paper", width_px=1000))
    total = sum(path.stat().st_size for path in OUT.glob("*.png"))
    print(f"{len(list(OUT.glob('*.png')))} pictures, {total / 1000:.0f} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
