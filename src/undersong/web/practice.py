"""Practice: choose what to play; the page that counts in, listens and says what comes next."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from undersong.chart.song import Song
from undersong.drills.catalogue import CATALOGUE
from undersong.ear import window_ms
from undersong.errors import UndersongError
from undersong.log.values import Assignment, Item, Player
from undersong.practice.care import PAIN_AFTER, PAIN_STOP
from undersong.practice.plan import DayPlan, PlanItem, PlanSong, Turn, WeakSpot, daily_plan
from undersong.practice.weak import weak_spots
from undersong.sound.schedule import ClickPattern, ClickPlan, schedule
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS
from undersong.web.asks import before_playing
from undersong.web.climbview import climb_view
from undersong.web.desk import Desk
from undersong.web.judged import is_session, weak_in
from undersong.web.pages import (
    desk_of,
    environment,
    field,
    number,
    page,
    player_of,
    someone,
    titled,
)
from undersong.web.songs import shelf_of
from undersong.web.sounds import Wanted
from undersong.web.tabs import tab_bars
from undersong.web.takes import checked_tempo
from undersong.web.work import climb_of, kept_item, level_of, work_of


def choose_work(request: Request) -> Response:
    """What there is to practise."""
    desk = desk_of(request)
    try:
        songs = desk.sunday().songs
    except UndersongError:
        songs = ()
    player = player_of(request)
    recent: list[str] = []
    plan = None
    if player is not None:
        takes = desk.book.takes_of(player)
        recent = list(dict.fromkeys(titled(take.item) for take in reversed(takes)))[:5]
        plan = _plan(desk, player, songs) if songs else None
    return page(
        request,
        "choose.html",
        songs=songs,
        drills=CATALOGUE,
        own_level=min(level_of(player), max(drill.level for drill in CATALOGUE)),
        keys=(*MAJOR_KEYS, *MINOR_KEYS),
        recent=recent,
        turns=[(each, _door_of(each, songs)) for each in plan.items] if plan else [],
        given=_given(desk, player) if player else (),
    )


def _given(desk: Desk, player: Player) -> list[Assignment]:
    return [each for each in desk.book.assignments(player) if each.done_at is None]


def _plan(desk: Desk, player: Player, songs: Sequence[Song]) -> DayPlan:
    """What to practise today: Sunday's songs, and what went wrong in them."""
    wanted: list[PlanSong] = []
    weak: list[WeakSpot] = []
    for song in songs:
        label = _label(song)
        sections = tuple(section.name for section in song.sections)
        wanted.append(PlanSong(label, song.title, song.tempo_bpm, sections))
        takes = [
            take
            for take in desk.book.takes_of(player)
            if take.item.label == label and not is_session(take)
        ]
        weak += weak_spots(label, song.title, weak_in(takes[-1:]))
    return daily_plan(wanted, weak, day=desk.today(), last_pain=player.pain_said_on)


def _door_of(turn: PlanItem, songs: Sequence[Song]) -> str:
    """The page on which a turn of the day is played; empty where there is none."""
    if turn.turn is Turn.TUNE:
        return "/ready"
    song = next((each for each in songs if _label(each) == turn.item), None)
    if song is None:
        return ""
    asked = {"song": song.title}
    if turn.turn is Turn.SONG:
        said = turn.text.removeprefix(f"{song.title}, ").partition(":")[0]
        if any(each.name == said for each in song.sections):
            asked["section"] = said
    return f"/practice/at?{urlencode(asked)}"


def _label(song: Song) -> str:
    """What the log and the plan call a song's line."""
    return Item(0, "line", song.title, str(song.key)).label


def at_work(request: Request) -> Response:
    """The page that counts in and listens."""
    desk, player = desk_of(request), someone(request)
    work = work_of(desk, player, request.query_params)
    state = climb_of(desk, player, work)
    takes = desk.book.takes_of(player, kept_item(desk, work))
    part = work.part.at_tempo(state.ladder.tempo_bpm)
    return page(
        request,
        "practice.html",
        work=work,
        part=part,
        bars=tab_bars(part),
        tempo=f"{state.ladder.tempo_bpm:g}",
        climb=climb_view(takes, state),
        window=f"{window_ms(part, level=level_of(player)):.0f}",
        patterns=tuple(ClickPattern),
        **before_playing(desk, player),
    )


def sheet(request: Request) -> Response:
    """The music at a tempo, and when each click and note of a pass falls."""
    desk, player = desk_of(request), someone(request)
    query = request.query_params
    work = work_of(desk, player, query)
    part = work.part.at_tempo(checked_tempo(number(query.get("tempo", ""), "tempo")))
    timed = schedule(part, click=_click(query.get("click", "")))
    template = environment().get_template("tab.html").module
    return JSONResponse(
        {
            "tempo": part.tempo_bpm,
            "start_s": timed.start_s,
            "end_s": timed.end_s,
            "clicks": [
                {"s": click.onset_s, "kind": click.kind.value, "in": click.counting_in}
                for click in timed.clicks
            ],
            "tab": str(template.tab_of(tab_bars(part))),  # type: ignore[attr-defined]
            "window_ms": window_ms(part, level=level_of(player)),
        }
    )


def _click(pattern: str) -> ClickPlan:
    try:
        return ClickPlan(pattern=ClickPattern(pattern)) if pattern else ClickPlan()
    except ValueError:
        raise UndersongError(f"There is no click called {pattern!r}.") from None


def model(request: Request) -> Response:
    """The work as it should sound, with count-in and click."""
    desk, player = desk_of(request), someone(request)
    query = request.query_params
    work = work_of(desk, player, query)
    tempo_bpm = checked_tempo(number(query.get("tempo", ""), "tempo"))
    sound = shelf_of(request).sound(Wanted(work.part, tempo_bpm=tempo_bpm))
    return FileResponse(sound, media_type="audio/flac")


async def pain(request: Request) -> Response:
    """The answer to the question about pain."""
    form = await request.form()
    hurts = field(form, "hurts") == "yes"
    await run_in_threadpool(_note_pain, desk_of(request), someone(request), hurts=hurts)
    return JSONResponse({"hurts": hurts, "text": PAIN_STOP if hurts else PAIN_AFTER})


def _note_pain(desk: Desk, player: Player, *, hurts: bool) -> None:
    desk.book.note_pain(player, at=desk.clock(), hurts=hurts)


async def agree(request: Request) -> Response:
    """The player (for a minor, a parent too) agrees to recordings being kept."""
    desk, player = desk_of(request), someone(request)
    await run_in_threadpool(desk.book.agree_to_recordings, player, at=desk.clock())
    return JSONResponse({"agreed": True})


ROUTES = (
    Route("/practice", choose_work),
    Route("/practice/at", at_work),
    Route("/practice/sheet", sheet),
    Route("/practice/model", model),
    Route("/practice/pain", pain, methods=["POST"]),
    Route("/practice/agree", agree, methods=["POST"]),
)
