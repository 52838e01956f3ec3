"""What is asked and said before anybody plays: hands, consent to listen, cautions."""

from __future__ import annotations

from typing import Any

from undersong.log.values import Player
from undersong.practice.care import PAIN_QUESTION, PAIN_STOP, asks_about_pain, cautions
from undersong.web.desk import Desk


def before_playing(desk: Desk, player: Player) -> dict[str, Any]:
    """What asks.html and the page around it show, by the names they use."""
    now = desk.clock()
    hurt_today = player.pain_said_on == now.date()
    said = cautions(desk.book.history(player), now=now, last_pain=player.pain_said_on)
    return {
        "agreed": player.recordings_agreed_at is not None,
        "ask_pain": asks_about_pain(player.pain_asked_at, now=now) and not hurt_today,
        "hurt_today": hurt_today,
        "pain_question": PAIN_QUESTION,
        "pain_stop": PAIN_STOP,
        "cautions": [each for each in said if each.text != PAIN_STOP],
    }
