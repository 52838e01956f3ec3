"""A Sunday's set as its own file text again: `parse_set` of it gives the same set."""

from __future__ import annotations

import json

from undersong.chart.setlist import STANDARD_FRETS, STANDARD_SCALE_MM, Player, Setlist, SetSong


def set_text(setlist: Setlist) -> str:
    """The set as TOML; comments of the file it came from are not kept."""
    lines = []
    if setlist.date is not None:
        lines.append(f"date = {setlist.date.isoformat()}")
    lines += _words(title=setlist.title, notes=setlist.notes)
    for song in setlist.songs:
        lines += ["", "[[song]]", *_song(song)]
    for player in setlist.players:
        lines += ["", "[[player]]", *_player(player)]
    return "\n".join(lines) + "\n"


def _song(song: SetSong) -> list[str]:
    key = "" if song.key is None else str(song.key)
    tempo = [] if song.tempo_bpm is None else [f"tempo = {song.tempo_bpm:g}"]
    return [
        *_words(file=song.file, key=key),
        *tempo,
        *_words(singer=song.singer, notes=song.notes),
    ]


def _player(player: Player) -> list[str]:
    lines = [
        *_words(name=player.name),
        f"level = {player.level}",
        *_words(tuning=player.tuning, hand=player.hand),
    ]
    if player.frets != STANDARD_FRETS:
        lines.append(f"frets = {player.frets}")
    if player.scale_mm != STANDARD_SCALE_MM:
        lines.append(f"scale_mm = {player.scale_mm:g}")
    return [*lines, *_words(notes=player.notes)]


def _words(**words: str) -> list[str]:
    # A JSON string is a TOML basic string, but for the one control sign JSON leaves bare.
    return [
        f"{name} = " + json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
        for name, text in words.items()
        if text
    ]
