"""`undersong rejudge`: the ear of today on kept takes whose verdicts a person put right."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import Commands, add_json, print_json

if TYPE_CHECKING:
    from undersong.ear import Hearing
    from undersong.log.values import Overruled, Take

SAME_PLACE_S = 0.05
"""An extra note heard again this close to where it was is the same one."""


@dataclass(frozen=True, slots=True)
class Again:
    """One verdict that a person put right: what the ear said then, the truth, and what it says now.

    `now` is None where the take cannot be heard again; `why` then says so.
    """

    take: Take
    note: int
    then: str
    truth: str
    now: str | None
    why: str = ""


def add(commands: Commands) -> None:
    """Put `rejudge` on the list of commands."""
    command = commands.add_parser(
        "rejudge",
        help="hear kept takes again whose verdicts were put right",
        description="Takes of which somebody said 'that was right' (or wrong) are known answers: "
        "hear their recordings again and say where the ear now agrees. Nothing in the log changes.",
    )
    command.add_argument("--log", type=Path, metavar="FILE", help="another log than the usual one")
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print each known answer beside what the ear says now."""
    found = _known(args.log)
    if args.json:
        print_json([_json(each) for each in found])
        return 0
    if not found:
        print("No verdict in this log was put right yet, so there is nothing to hear again.")
        return 0
    for each in found:
        when = f"{each.take.at:%Y-%m-%d %H:%M}"
        now = each.why if each.now is None else f"now {each.now}"
        print(
            f"{each.take.player}, {each.take.item.label}, {when}, note {each.note}: "
            f"then {each.then}, in truth {each.truth}, {now}"
        )
    heard = [each for each in found if each.now is not None]
    agree = sum(each.now == each.truth for each in heard)
    print(f"Of {len(heard)} heard again the ear agrees with {agree}.")
    return 0


def _known(log: Path | None) -> list[Again]:
    from undersong.cli.keeping import kept_log
    from undersong.log.book import Book

    found: list[Again] = []
    with Book.open(kept_log(log)) as book:
        folder = book.recordings
        for take in book.known_answers():
            hearing, why = _heard_again(take, folder)
            found += [_again(take, each, hearing, why) for each in take.overruled]
    return found


def _heard_again(take: Take, folder: Path | None) -> tuple[Hearing | None, str]:
    from undersong.cli.hear import listen
    from undersong.exchange import part_from_json
    from undersong.log.values import notes_of

    if take.audio is None or folder is None or not (folder / take.audio).exists():
        return None, "its recording was not kept"
    if take.item.part is None:
        return None, "what was asked was not kept"
    part = part_from_json(take.item.part).at_tempo(take.tempo_bpm)
    asked = [note.get("index") for note in notes_of(take.hearing) if note.get("index") is not None]
    if asked != [stroke.index for stroke in part.strokes][: len(asked)]:
        return None, "its part has changed since"
    said = take.hearing or {}
    start_s = said.get("start_s") if said.get("reference") == "start" else None
    hearing, _ = listen(
        folder / take.audio,
        part,
        start_s=start_s if isinstance(start_s, int | float) else None,
        tolerance_ms=take.tolerance_ms,
    )
    return hearing, ""


def _again(take: Take, put_right: Overruled, hearing: Hearing | None, why: str) -> Again:
    from undersong.log.values import notes_of

    now = None
    if hearing is not None:
        now = _verdict_now(notes_of(take.hearing)[put_right.note], hearing)
    return Again(take, put_right.note, put_right.was, put_right.verdict, now, why)


def _verdict_now(then: Mapping[str, object], hearing: Hearing) -> str:
    """What the ear says now of a note; of an extra note that is gone, `right`: nothing is held."""
    index, onset_s = then.get("index"), then.get("onset_s")
    for note in hearing.notes:
        if index is not None and note.index == index:
            return str(note.verdict)
        if (
            index is None
            and note.index is None
            and note.onset_s is not None
            and isinstance(onset_s, int | float)
            and abs(note.onset_s - onset_s) < SAME_PLACE_S
        ):
            return str(note.verdict)
    return "right" if index is None else "unsure"


def _json(each: Again) -> dict[str, object]:
    return {
        "take": each.take.uid,
        "player": each.take.player,
        "item": each.take.item.label,
        "at": each.take.at.isoformat(),
        "note": each.note,
        "then": each.then,
        "truth": each.truth,
        "now": each.now,
        "why": each.why or None,
    }
