"""Where the clicks of a pass really fall in what the browser plays, to the sample."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import correlate

from undersong.practice.ladder import Rule
from undersong.sound.click import click_sound
from undersong.sound.schedule import ClickKind, ClickPlan, schedule
from undersong.web.work import kept_item, work_of
from web_app import demo_desk
from web_browser import front_door, needs_chromium

pytestmark = needs_chromium

JITTER_MS = 1.0  # the promise of the page
FAST_BPM = 200.0

# Whatever goes to the loudspeaker goes through the app's own capture too.
OVERHEAR = """
  const connect = AudioNode.prototype.connect;
  window.heard = [];
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to === this.context.destination) {
      const overheard = this;
      const ctx = this.context;
      ctx.audioWorklet.addModule("/static/capture-worklet.js").then(() => {
        const ear = new AudioWorkletNode(ctx, "capture", { numberOfOutputs: 0 });
        ear.port.onmessage = ({ data }) => window.heard.push([data.frame, data.samples]);
        connect.call(overheard, ear);
      });
    }
    return connect.call(this, to, ...rest);
  };
  window.taken = () => {
    const first = window.heard[0][0];
    const [frame, samples] = window.heard[window.heard.length - 1];
    const all = new Float32Array(frame + samples.length - first);
    for (const [at, block] of window.heard) all.set(block, at - first);
    let text = "";
    for (const byte of new Uint8Array(all.buffer)) text += String.fromCharCode(byte);
    return { rate: new AudioContext().sampleRate, sound: btoa(text) };
  };
"""


def places(sound: NDArray[np.float32], rate: int, kinds: list[ClickKind]) -> list[float]:
    """Seconds at which clicks of these kinds begin, in order: where each is most alike."""
    found: list[float] = []
    likeness = {
        kind: correlate(sound, click_sound(kind, rate), mode="valid", method="fft")
        for kind in set(kinds)
    }
    shortest = min(len(each) for each in likeness.values())
    best = np.max([each[:shortest] for each in likeness.values()], axis=0)
    apart = round(0.1 * rate)
    floor = 0.2 * best.max()
    at = 0
    while len(found) < len(kinds) and at < len(best):
        if best[at] > floor:
            kind = likeness[kinds[len(found)]]
            peak = at + int(np.argmax(kind[at : at + apart // 2]))
            found.append(peak / rate)
            at = peak + apart
        else:
            at += 1
    return found


def test_clicks_fall_where_they_were_laid(tmp_path: Path) -> None:
    with demo_desk(tmp_path) as desk, front_door(desk) as front:
        player = desk.book.player("Iris")
        desk.book.note_pain(player, at=desk.clock(), hurts=False)
        work = work_of(desk, player, {"drill": "scale", "key": "G"})
        item = kept_item(desk, work)
        desk.book.set_rule(player, item, Rule(start_bpm=FAST_BPM), start_over=True)
        page = front.page()
        page.add_init_script(OVERHEAR)
        page.goto("/practice/at?drill=scale&key=G")
        page.get_by_role("button", name="Play a pass").click()
        page.get_by_role("button", name="Listen, keep no recording").click()
        page.locator(".verdict").wait_for()
        taken: dict[str, Any] = page.evaluate("() => window.taken()")
        assert front.troubles == []
    sound = np.frombuffer(base64.b64decode(taken["sound"]), "<f4")
    laid = schedule(work.part, tempo_bpm=FAST_BPM, click=ClickPlan()).clicks
    found = places(sound, taken["rate"], [click.kind for click in laid])
    assert len(found) == len(laid)
    errors_ms = 1000 * (np.array(found) - np.array([click.onset_s for click in laid]))
    assert np.ptp(errors_ms) == pytest.approx(0.0, abs=JITTER_MS)
