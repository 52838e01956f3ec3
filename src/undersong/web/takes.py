"""Takes: judged, kept with the step of their climb, shown again, put right, deleted."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from undersong.ear import Hearing, hear, hearing_json
from undersong.ear.passing import is_fault
from undersong.errors import LogError, UndersongError
from undersong.exchange import part_from_json
from undersong.log.values import KeptTake, LadderState, Player, Take
from undersong.practice.care import asks_about_pain, cautions
from undersong.practice.ladder import Outcome, outcome_of
from undersong.sound.files import write_sound
from undersong.theory.part import Part
from undersong.theory.tempo import TEMPO_MAX_BPM, TEMPO_MIN_BPM
from undersong.web.climbview import climb_view
from undersong.web.desk import Desk
from undersong.web.incoming import LEAST_SAID_MS, LONGEST_S
from undersong.web.judged import (
    faults_of,
    fits,
    hearing_of,
    is_session,
    marks_of,
    spoken,
    strip_of,
)
from undersong.web.pages import (
    back_to,
    desk_of,
    field,
    fragment,
    number,
    own_only,
    page,
    sent,
    someone,
)
from undersong.web.sessionview import session_html
from undersong.web.tabs import tab_bars
from undersong.web.work import Work, kept_item, level_of, work_of

MOST_OTHERS = 6  # pieces practised lately that a take is held against
LARGEST_NUMBER = 2**63 - 1  # of a row in the log
RATES_HZ = (8_000, 192_000)
LARGEST_ELSEWHERE_BYTES = 256 * 2**20
Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Played:
    """One pass as it came in: mono samples, shape (n,), and what was asked.

    `start_s` is where beat 0 falls in the samples, where the round trip is known; `lost_ms` is how
    much sound never arrived and stands as silence; `stumbled_ms` how long the click stood still;
    `refusal` is why it cannot be judged, if so.
    """

    uid: str
    samples: Samples
    sample_rate_hz: int
    tempo_bpm: float
    start_s: float | None = None
    lost_ms: float = 0.0
    stumbled_ms: float = 0.0
    refusal: str = ""
    is_live: bool = True


def checked_uid(text: str) -> str:
    """A take's own name: a UUID and nothing else, for it names a file too."""
    try:
        return str(uuid.UUID(text))
    except ValueError:
        raise UndersongError(f"{text!r} is no name for a take.") from None


def checked_tempo(value: object) -> float:
    """A tempo that can be played."""
    if not isinstance(value, int | float) or not TEMPO_MIN_BPM <= value <= TEMPO_MAX_BPM:
        raise UndersongError(
            f"A tempo is {TEMPO_MIN_BPM:g} to {TEMPO_MAX_BPM:g} beats a minute, not {value!r}."
        )
    return float(value)


def checked_rate(value: object) -> int:
    """A sample rate a browser can have."""
    if not isinstance(value, int | float) or not RATES_HZ[0] <= value <= RATES_HZ[1]:
        raise UndersongError(f"{value!r} is no sample rate.")
    return round(value)


def already_kept(desk: Desk, takes: Sequence[Take], uid: str) -> KeptTake | None:
    """The take of a name where it was sent once before."""
    for take in takes:
        if take.uid == uid:
            ladder = desk.book.ladder_of(desk.book.player(take.player), take.item).ladder
            return KeptTake(take, ladder, ladder)
    return None


def judge(desk: Desk, player: Player, work: Work, played: Played) -> KeptTake:
    """Listen to a pass and keep it with the step of its climb; the same pass twice is one."""
    takes = desk.book.takes_of(player)
    kept = already_kept(desk, takes, played.uid)
    if kept is not None:
        return kept
    part = work.part.at_tempo(played.tempo_bpm)
    with _LISTENING:
        hearing = hear(
            [played.samples],
            played.sample_rate_hz,
            part,
            start_s=played.start_s,
            level=level_of(player),
            others=_lately(takes, work),
        )
    if played.refusal:
        hearing = replace(hearing, clean=None, reason=played.refusal)
    length_s = len(played.samples) / played.sample_rate_hz
    with recorded(desk, player, played) as audio:
        return desk.book.keep_take(
            player,
            kept_item(desk, work),
            outcome=outcome_of(hearing.clean),
            tempo_bpm=played.tempo_bpm,
            at=desk.clock(),
            hearing=hearing_json(hearing) | ({} if played.refusal else holes(played)),
            tolerance_ms=hearing.tolerance_ms,
            length_s=length_s if played.is_live else 0.0,
            whole=not work.section and hearing.stopped_at is None,
            audio=audio,
            uid=played.uid,
        )


def _lately(takes: Sequence[Take], work: Work) -> tuple[Part, ...]:
    """What else the player practised last: a take that is none of this may be one of those."""
    last = {each.item.label: each for each in takes}
    others = [each for each in last.values() if (each.item.kind, each.item.name) != work.named]
    latest = sorted(others, key=lambda each: each.at)[-MOST_OTHERS:]
    return tuple(part for each in latest if (part := _part_of(each)) is not None)


def _part_of(take: Take) -> Part | None:
    """What was asked, at the tempo of the take; None where that was not kept."""
    if take.item.part is None:
        return None
    return part_from_json(take.item.part).at_tempo(take.tempo_bpm)


def holes(played: Played) -> dict[str, object]:
    """What is kept with the hearing of a take with faults that was judged all the same."""
    found = {"lost_ms": played.lost_ms, "stumbled_ms": played.stumbled_ms}
    return {name: round(ms, 1) for name, ms in found.items() if ms > LEAST_SAID_MS}


# Eight takes heard side by side are all late; one after another only the last one is.
_LISTENING = threading.Lock()


def is_judging() -> bool:
    """Whether a take is being listened to at this moment."""
    return _LISTENING.locked()


@contextmanager
def recorded(desk: Desk, player: Player, played: Played) -> Iterator[str | None]:
    """The recording's name in its folder; None where the player has not agreed to keep any.

    It is gone again where the log does not take its take.
    """
    folder = desk.book.recordings
    if player.recordings_agreed_at is None or folder is None:
        yield None
        return
    folder.mkdir(exist_ok=True)
    name = f"{played.uid}.flac"
    write_sound(folder / name, np.clip(played.samples, -1, 1), played.sample_rate_hz)
    try:
        yield name
    except LogError:
        (folder / name).unlink(missing_ok=True)
        raise


def verdict_html(desk: Desk, take: Take, *, said: str = "") -> Markup:
    """The judged pass as a piece of a page."""
    part = _part_of(take)
    if is_session(take) and part is not None:
        return session_html(take, part, _lost_words(take))
    player = desk.book.player(take.player)
    state = desk.book.ladder_of(player, take.item)
    climb = climb_view(desk.book.takes_of(player, take.item), state)
    view: dict[str, object] = {
        "take": take,
        "climb": climb,
        "said": said,
        "next_bpm": f"{state.ladder.tempo_bpm:g}",
    }
    heard = _heard(take)
    if heard is None:
        return fragment("verdict.html", **view, lines=[], judged=None, faults=())
    hearing, part = heard
    bars = tab_bars(part)
    put_right = {each.note: each.verdict for each in take.overruled}
    judged = None
    if hearing.clean is not None or hearing.notes:
        judged = {
            "bars": bars,
            "marks": marks_of(hearing, part, bars),
            "strip": strip_of(hearing, part),
            "start_s": hearing.start_s,
        }
    faults = faults_of(hearing, part, put_right)
    lines = [*spoken(hearing, part), *_lost_words(take)]
    return fragment("verdict.html", **view, lines=lines, judged=judged, faults=faults)


def _lost_words(take: Take) -> list[str]:
    kept = take.hearing or {}
    said = []
    if isinstance(lost_ms := kept.get("lost_ms"), int | float):
        said.append(
            f"{lost_ms:.0f} ms of sound were lost on the way. All other notes kept their times; "
            "what fell into the hole I could not tell."
        )
    if isinstance(stumbled_ms := kept.get("stumbled_ms"), int | float):
        said.append(
            f"The click stumbled by {stumbled_ms:.0f} ms in all. Your notes are timed against it "
            "as it sounded."
        )
    return said


def _heard(take: Take) -> tuple[Hearing, Part] | None:
    part = _part_of(take)
    if take.hearing is None or part is None:
        return None
    hearing = hearing_of(take.hearing)
    return (hearing, part) if fits(hearing, part) else None


def verdict_json(desk: Desk, kept: KeptTake) -> dict[str, object]:
    """All a page needs after a pass."""
    player = desk.book.player(kept.take.player)
    now = desk.clock()
    said = cautions(desk.book.history(player), now=now, last_pain=player.pain_said_on)
    return {
        "type": "verdict",
        "take": kept.take.id,
        "outcome": kept.take.outcome.value,
        "next_bpm": kept.ladder_after.tempo_bpm,
        "html": str(verdict_html(desk, kept.take, said=kept.in_words)),
        "cautions": [{"kind": each.kind.value, "text": each.text} for each in said],
        "ask_pain": asks_about_pain(player.pain_asked_at, now=now),
    }


async def take_from_elsewhere(request: Request) -> Response:
    """A take the browser decoded, judged at the tempo that was asked."""
    played = await played_elsewhere(request)
    return JSONResponse(await run_in_threadpool(_from_elsewhere, request, played))


def _from_elsewhere(request: Request, played: Played) -> dict[str, object]:
    desk, player = desk_of(request), someone(request)
    work = work_of(desk, player, request.query_params)
    return verdict_json(desk, judge(desk, player, work, played))


async def played_elsewhere(request: Request) -> Played:
    """What the browser decoded: samples (32-bit floats, little-endian, one channel)."""
    data = await sent(
        request, LARGEST_ELSEWHERE_BYTES, "This recording is too long: twenty minutes is the most."
    )
    query = request.query_params
    rate = checked_rate(number(query.get("rate", ""), "sample rate"))
    return Played(
        uid=checked_uid(query.get("uid", "")),
        samples=checked_samples(data, rate),
        sample_rate_hz=rate,
        tempo_bpm=checked_tempo(number(query.get("tempo", ""), "tempo")),
        is_live=False,
    )


def checked_samples(data: bytes, sample_rate_hz: int) -> Samples:
    """Samples from bytes, shape (n,), all finite."""
    if len(data) % 4:
        raise UndersongError("This is no row of samples.")
    samples = np.frombuffer(data, "<f4").astype(np.float32)
    if len(samples) > LONGEST_S * sample_rate_hz:
        raise UndersongError("This recording is too long: twenty minutes is the most.")
    if not np.isfinite(samples).all():
        raise UndersongError("This recording holds samples that are no numbers.")
    return samples


def _number(request: Request) -> int:
    """The number of a take in an address."""
    asked = int(request.path_params["number"])
    if asked > LARGEST_NUMBER:
        raise UndersongError("There is no take of that number in the log.")
    return asked


def _take(request: Request) -> Take:
    """The take an address names, if whoever asks may see it."""
    take = desk_of(request).book.take(_number(request))
    own_only(request, take.player)
    return take


def show_take(request: Request) -> Response:
    """One judged pass."""
    desk, take = desk_of(request), _take(request)
    return page(request, "take.html", take=take, verdict=verdict_html(desk, take))


def take_sound(request: Request) -> Response:
    """The take's recording, where one was kept."""
    desk, take = desk_of(request), _take(request)
    folder = desk.book.recordings
    if take.audio is None or folder is None or not (folder / take.audio).is_file():
        raise UndersongError("No recording of this take was kept.")
    return FileResponse(folder / take.audio, media_type="audio/flac")


async def overrule(request: Request) -> Response:
    """'That was right': the person's word stands beside the ear's."""
    form = await request.form()
    await run_in_threadpool(_take, request)
    take = await run_in_threadpool(
        _overrule,
        desk_of(request),
        _number(request),
        int(number(field(form, "note"), "note")),
    )
    if "application/json" in request.headers.get("accept", ""):
        desk = desk_of(request)
        state = desk.book.ladder_of(desk.book.player(take.player), take.item)
        html = await run_in_threadpool(verdict_html, desk, take, said=_put_right_words(state))
        return JSONResponse({"html": str(html), "next_bpm": state.ladder.tempo_bpm})
    return back_to(f"/takes/{take.id}")


def _put_right_words(state: LadderState) -> str:
    return f"Put right, and remembered. Next: {state.ladder.tempo_bpm:g}."


def _overrule(desk: Desk, number: int, note: int) -> Take:
    take = desk.book.take(number)
    if take.hearing is None or is_session(take):
        raise UndersongError("Nobody listened to this take: there is nothing to put right.")
    hearing = hearing_of(take.hearing)
    right = {each.note for each in take.overruled} | {note}
    left = [n for place, n in enumerate(hearing.notes) if place not in right]
    outcome = Outcome.CLEAN
    if any(is_fault(each, hearing.tolerance_ms) for each in left):
        outcome = Outcome.NOT_CLEAN
    elif any(each.verdict.value == "unsure" for each in left):
        outcome = Outcome.UNSURE
    return desk.book.overrule(
        number, note, "right", at=desk.clock(), by=take.player, outcome=outcome
    )


async def delete(request: Request) -> Response:
    """Discard a take and its recording."""
    await run_in_threadpool(_take, request)
    await run_in_threadpool(desk_of(request).book.delete_take, _number(request))
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"deleted": True})
    return back_to("/log")


def as_query(text: Mapping[str, str]) -> QueryParams:
    """An address's question from a plain mapping."""
    return QueryParams(dict(text))


ROUTES = (
    Route("/takes", take_from_elsewhere, methods=["POST"]),
    Route("/takes/{number:int}", show_take),
    Route("/takes/{number:int}/sound", take_sound),
    Route("/takes/{number:int}/overrule", overrule, methods=["POST"]),
    Route("/takes/{number:int}/delete", delete, methods=["POST"]),
)
