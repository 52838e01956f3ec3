"""Getting set: the input chosen, its level seen, the round trip measured; and the cautions."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from undersong.errors import UndersongError
from undersong.page.carepage import dose_minutes
from undersong.sound.click import click_sound
from undersong.sound.schedule import ClickKind, ClickPattern
from undersong.theory.pitch import musical_signs
from undersong.web.delay import round_trip
from undersong.web.pages import desk_of, number, page, player_of, sent
from undersong.web.takes import checked_rate, checked_samples
from undersong.web.taps import tapped_trip

LARGEST_BYTES = 16 * 2**20
MOST_CLICKS = 16
DOSE_DB = (85, 88, 91, 94, 97, 100)


def show_ready(request: Request) -> Response:
    """Inputs, level, round trip, cautions."""
    doses = [(level, dose_minutes(level)) for level in DOSE_DB]
    tuning = desk_of(request).instrument(player_of(request)).tuning
    strings = f"{tuning.name[:1].upper()}{tuning.name[1:]}, from low to high: " + ", ".join(
        musical_signs(str(pitch)) for pitch in tuning.strings
    )
    return page(request, "ready.html", doses=doses, strings=strings)


async def measure(request: Request) -> Response:
    """The round trip from a recording of clicks, or of taps along with them."""
    data = await sent(
        request, LARGEST_BYTES, "A measurement is shorter than that: sixteen clicks at the most."
    )
    answer = await run_in_threadpool(_measured, data, request.query_params)
    return JSONResponse(answer)


def _measured(data: bytes, query: QueryParams) -> dict[str, object]:
    rate = checked_rate(number(query.get("rate", ""), "sample rate"))
    places = [round(number(each, "frame")) for each in query.get("at", "").split(",")]
    if len(places) > MOST_CLICKS:
        raise UndersongError(f"{MOST_CLICKS} clicks are the most.")
    samples = checked_samples(data, rate)
    if query.get("by") == "taps":
        found = tapped_trip(samples, rate, places)
    else:
        found = round_trip(samples, rate, click_sound(ClickKind.ACCENT, rate), places)
    return {
        "delay_ms": found.delay_ms,
        "spread_ms": found.spread_ms,
        "found": found.found,
        "words": found.words,
    }


def show_click(request: Request) -> Response:
    """The click on its own."""
    return page(request, "click.html", patterns=tuple(ClickPattern))


ROUTES = (
    Route("/ready", show_ready),
    Route("/ready/delay", measure, methods=["POST"]),
    Route("/click", show_click),
)
