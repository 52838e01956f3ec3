"""This Sunday: the set in order; keys, tempos and songs changed, charts that arrive taken in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from undersong.chart.counts import set_counts
from undersong.chart.lownotes import LowNotes, low_note_table, low_notes
from undersong.chart.ranges import KeyFit, keys_for_singer
from undersong.chart.roadmap import duration_s, total_bars, unrolled
from undersong.chart.setlist import SetSong
from undersong.chart.song import Song
from undersong.chart.transitions import transitions
from undersong.chart.words import count_words, hard_words, low_words, singer_words, transition_words
from undersong.errors import ChartErrors, LogError, UndersongError
from undersong.theory.key import Key, parse_key
from undersong.theory.pitch import parse_pitch
from undersong.web.desk import Desk, Sunday, sentences
from undersong.web.pages import back_to, desk_of, field, keys_of, number, page, page_in_two

HARDEST_SHOWN = 6
VOICES = "voices"
_BAD = 400


@dataclass(frozen=True, slots=True)
class SongLine:
    """One song of the set as the page lists it."""

    title: str
    key: str
    meter: str
    tempo: str
    singer: str
    notes: str
    bars: int
    length: str
    low: str
    remarks: tuple[str, ...]


def _line(entry: SetSong, song: Song) -> SongLine:
    minutes, seconds = divmod(round(duration_s(song)), 60)
    return SongLine(
        title=entry.file,
        key=str(song.key),
        meter=str(song.meter),
        tempo=f"{song.tempo_bpm:g}",
        singer=entry.singer,
        notes=entry.notes,
        bars=total_bars(song),
        length=f"{minutes}:{seconds:02}",
        low=low_words(low_notes(song)),
        remarks=tuple(remark.text for remark in song.report),
    )


def show_sunday(request: Request) -> Response:
    """The set in order."""
    desk = desk_of(request)
    try:
        sunday = desk.sunday()
    except (ChartErrors, LogError) as error:
        return page(request, "trouble.html", errors=sentences(error), status=_BAD)
    for song in sunday.songs:
        unrolled(song)  # one that never ends is told before half a page is on its way
    listed = {entry.file for entry in sunday.setlist.songs}
    others = [each.title for each in desk.book.charts() if each.title not in listed]
    return page_in_two(
        request, "sunday.html", sunday=sunday, others=others, look_over=lambda: _over(sunday)
    )


def _over(sunday: Sunday) -> dict[str, Any]:
    """Each song, how they follow one another, and what the set is made of."""
    songs = sunday.songs
    counts = set_counts(songs)
    pairs = zip(songs, songs[1:], transitions(songs), strict=False)
    return {
        "lines": [_line(*each) for each in zip(sunday.setlist.songs, songs, strict=True)],
        "joins": [(one.title, other.title, transition_words(step)) for one, other, step in pairs],
        "counts": count_words(counts),
        "hard": [hard_words(bar) for bar in counts.hard[:HARDEST_SHOWN]],
    }


def show_song_key(request: Request) -> Response:
    """A song's key and tempo for the day: what each key asks of the bass, and of the singer."""
    desk, query = desk_of(request), request.query_params
    title = query.get("title", "")
    song, entry = desk.song(title), desk.sunday().entry(title)
    voice = _voice(query) or voices(desk).get(entry.singer if entry else "", ("", ""))
    fits = _fits(song, voice) if song.melody else {}
    rows = low_note_table(song)
    return page(
        request,
        "key.html",
        title=title,
        song=song,
        entry=entry,
        table=[_key_row(row, song, fits.get(row.key)) for row in rows],
        best=next(iter(fits), None),
        voice=voice,
        keys=keys_of(song.key.mode),
        bars=total_bars(song),
        low_words=low_words(low_notes(song)),
    )


def _key_row(row: LowNotes, song: Song, fit: KeyFit | None) -> dict[str, object]:
    return {
        "key": str(row.key),
        "four": row.below["four-string"],
        "dropped": row.below["low string dropped"],
        "tonic": str(row.tonic),
        "ends_low": row.ends_low,
        "is_now": row.key == song.key,
        "melody": "" if fit is None else f"{fit.low} to {fit.high}",
        "sung": "" if fit is None else singer_words(fit),
        "fits": fit is not None and fit.fits,
    }


def _voice(query: Mapping[str, str]) -> tuple[str, str] | None:
    """A singer's lowest and highest note as asked for; None where neither is."""
    low, high = query.get("low", "").strip(), query.get("high", "").strip()
    return (low, high) if low or high else None


def _fits(song: Song, voice: tuple[str, str]) -> dict[Key, KeyFit]:
    """Every key for a singer, the best first; nothing where no range was said."""
    if not any(voice):
        return {}
    low, high = (parse_pitch(text) for text in voice)
    return {fit.key: fit for fit in keys_for_singer(song, low, high)}


def voices(desk: Desk) -> dict[str, tuple[str, str]]:
    """What is known of who sings: lowest and highest comfortable note by name."""
    kept = desk.book.setting(VOICES, {})
    if not isinstance(kept, dict):
        return {}
    return {str(name): (str(low), str(high)) for name, (low, high) in kept.items()}


async def change_sunday(request: Request) -> Response:
    """Change the set and show it again."""
    form = await request.form()
    action = request.path_params["action"]
    await run_in_threadpool(_change, desk_of(request), action, form)
    return back_to("/")


def _change(desk: Desk, action: str, form: FormData) -> None:
    sunday = desk.sunday()
    title = field(form, "title")
    songs = list(sunday.setlist.songs)
    if action == "add":
        desk.song(title)
        if sunday.entry(title) is None:
            songs.append(SetSong(title))
        desk.keep(sunday.name, replace(sunday.setlist, songs=tuple(songs)))
        return
    place = next((n for n, song in enumerate(songs) if song.file == title), None)
    if place is None:
        raise UndersongError(f"{title!r} is not in the set: it may have been taken out meanwhile.")
    if action == "change":
        songs[place] = _changed(desk, songs[place], form)
    elif action in ("up", "down"):
        other = place + (1 if action == "down" else -1)
        if 0 <= other < len(songs):
            songs[place], songs[other] = songs[other], songs[place]
    elif action == "remove":
        if len(songs) == 1:
            raise UndersongError("A set wants at least one song: add another first.")
        del songs[place]
    else:
        raise UndersongError(f"There is nothing called {action} to do with a set.")
    desk.keep(sunday.name, replace(sunday.setlist, songs=tuple(songs)))


def _changed(desk: Desk, entry: SetSong, form: FormData) -> SetSong:
    key = parse_key(field(form, "key"))
    desk.song(entry.file, key)
    tempo_bpm = number(field(form, "tempo"), "tempo")
    song = replace(desk.song(entry.file), tempo_bpm=tempo_bpm)  # says what is wrong, if anything
    singer, voice = field(form, "singer").strip(), (field(form, "low"), field(form, "high"))
    if singer and any(voice):
        if song.melody:
            _fits(song, voice)
        known = {name: list(each) for name, each in voices(desk).items()}
        desk.book.keep_setting(VOICES, known | {singer: [each.strip() for each in voice]})
    return replace(
        entry,
        key=key,
        tempo_bpm=tempo_bpm,
        singer=singer,
        notes=field(form, "notes").strip(),
    )


ROUTES = (
    Route("/", show_sunday),
    Route("/sunday/key", show_song_key),
    Route("/sunday/{action}", change_sunday, methods=["POST"]),
)
