"""What is practised: a drill, or a song's line (or one section of it), at the climb's tempo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from undersong.drills.catalogue import drill_named, make_drill
from undersong.errors import UndersongError
from undersong.exchange import part_from_json, part_to_json
from undersong.log.values import Item, LadderState, Player
from undersong.theory.excerpt import excerpt
from undersong.theory.key import parse_key
from undersong.theory.part import Part
from undersong.web.desk import Desk
from undersong.web.lines import line_for


@dataclass(frozen=True, slots=True)
class Work:
    """Something to practise, as the log knows it and as it is played.

    `query` asks for the same again; `words` are sentences for the player.
    """

    kind: str
    name: str
    part: Part
    query: str
    words: tuple[tuple[str, str], ...] = ()
    remarks: tuple[str, ...] = ()
    song_bpm: float | None = None
    sections: tuple[str, ...] = ()
    section: str = ""
    song: str = ""

    @property
    def named(self) -> tuple[str, str]:
        """Kind and name, as the log has them."""
        return self.kind, self.name


def work_of(desk: Desk, player: Player | None, query: Mapping[str, str]) -> Work:
    """What an address asks to practise.

    Raises
    ------
    UndersongError
        If it names no drill or song there is.
    """
    if query.get("drill"):
        return _drill(desk, player, query["drill"], query.get("key") or "G")
    if query.get("item"):
        return _kept(desk, query["item"])
    if query.get("song"):
        return _line(desk, player, query["song"], query.get("section", ""))
    raise UndersongError("Choose a drill or a song to practise.")


def _drill(desk: Desk, player: Player | None, name: str, key: str) -> Work:
    drill = drill_named(name)
    sheet = make_drill(drill.name, parse_key(key), desk.instrument(player))
    return Work(
        kind="drill",
        name=sheet.part.title,
        part=sheet.part,
        query=urlencode({"drill": drill.name, "key": str(sheet.part.key)}),
        words=(
            ("", drill.purpose),
            ("Listen for", drill.listen_for),
            ("Common mistakes", drill.common_mistakes),
        ),
        remarks=sheet.remarks,
    )


def _kept(desk: Desk, number: str) -> Work:
    """Work as it lies in the log, with its own part: given here, or brought in with a file."""
    item = desk.item(number)
    if item.part is None:
        raise UndersongError("What was asked was not kept with this work: choose another.")
    return Work(
        kind=item.kind,
        name=item.name,
        part=part_from_json(item.part),
        query=urlencode({"item": number}),
        song_bpm=item.song_bpm,
        song=item.name if item.kind == "line" else "",
    )


def _line(desk: Desk, player: Player | None, title: str, section: str) -> Work:
    song = desk.song(title)
    sheet = line_for(desk, player, song)
    marks = sheet.part.sections
    sections = tuple(dict.fromkeys(mark.name for mark in marks))
    part, name, asked = sheet.part, song.title, {"song": title}
    if section:
        if section not in sections:
            raise UndersongError(f"{song.title} has no section called {section}.")
        part = _section(sheet.part, section)
        name, asked = f"{song.title}: {section}", asked | {"section": section}
    return Work(
        kind="line",
        name=name,
        part=replace(part, title=name),
        query=urlencode(asked),
        song_bpm=song.tempo_bpm,
        remarks=sheet.remarks,
        sections=sections,
        section=section,
        song=song.title,
    )


def _section(part: Part, name: str) -> Part:
    """The first time round in which the bass plays."""
    starts = [mark.at for mark in part.sections] + [part.length]
    bars = part.bars
    for mark, end in zip(part.sections, starts[1:], strict=True):
        if mark.name != name or not any(mark.at <= note.at < end for note in part.notes):
            continue
        inside = [bar.number for bar in bars if mark.at <= bar.at < end]
        return excerpt(part, inside[0], inside[-1], rung_in=False)
    raise UndersongError(f"The bass lays out in {name}: there is nothing to practise.")


def kept_item(desk: Desk, work: Work) -> Item:
    """The work in the log."""
    return desk.book.keep_item(
        work.kind,
        work.name,
        key=str(work.part.key),
        song_bpm=work.song_bpm,
        part=part_to_json(work.part),
    )


def climb_of(desk: Desk, player: Player, work: Work) -> LadderState:
    """Where the player's climb stands for this work."""
    return desk.book.ladder_of(player, kept_item(desk, work))


def level_of(player: Player | None) -> int:
    """The level by whose window the player is judged."""
    return player.level if player else 1
