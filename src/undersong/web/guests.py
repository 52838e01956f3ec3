"""Who may come in from the network: an invitation for each person, changed for a session.

Conventions
-----------
An invitation's link and a session's cookie are 256 random bits each. The log keeps only their
SHA-256 hashes, so that a copy of the log lets nobody in. A withdrawn invitation takes its sessions
with it. Invitations are one setting of the log: they stay on this computer, and no export of
results or work carries them.
"""

from __future__ import annotations

import hashlib
import secrets
import threading
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from enum import Enum

from undersong.errors import UndersongError
from undersong.log.book import Book

INVITATIONS = "invitations"
MOST_SESSIONS = 12  # of one person: phones, laptops, browsers; the oldest goes first
MOST_INVITATIONS = 200
_CHANGING = threading.Lock()


class Role(Enum):
    """What a person may do: all, or practise and see their own."""

    LEADER = "leader"
    PLAYER = "player"


@dataclass(frozen=True, slots=True)
class Guest:
    """Whoever talks to the app, in one role."""

    name: str
    role: Role

    @property
    def is_leader(self) -> bool:
        """May see and change everything."""
        return self.role is Role.LEADER


@dataclass(frozen=True, slots=True)
class Invitation:
    """One person's way in; `token` and `sessions` are hashes."""

    number: int
    name: str
    role: Role
    made_on: str
    token: str
    sessions: tuple[str, ...] = ()

    @property
    def guest(self) -> Guest:
        """Whoever comes in by it."""
        return Guest(self.name, self.role)


class Guests:
    """The invitations of one log."""

    def __init__(self, book: Book) -> None:
        self._book = book

    def all(self) -> tuple[Invitation, ...]:
        """Every invitation that holds, oldest first."""
        kept = self._book.setting(INVITATIONS, [])
        return tuple(_read(each) for each in kept) if isinstance(kept, list) else ()

    def invite(self, name: str, role: Role, *, made_on: str) -> str:
        """Invite a person, who must be a player of the log to be let in as one; the link's token.

        Whoever is invited again in the same role gets another link, and the old one is dead;
        where they are in already they stay in.
        """
        name = name.strip()
        if not name:
            raise UndersongError("An invitation is for somebody: write a name.")
        if role is Role.PLAYER:
            name = self._book.player(name).name
        token = secrets.token_urlsafe(32)
        with _CHANGING:
            held = self.all()
            if len(held) >= MOST_INVITATIONS:
                raise UndersongError("There are 200 invitations: withdraw some first.")
            same = [each for each in held if (each.name, each.role) == (name, role)]
            number = same[0].number if same else 1 + max((each.number for each in held), default=0)
            made = Invitation(
                number, name, role, made_on, _hash(token), same[0].sessions if same else ()
            )
            self._keep((*(each for each in held if each.number != number), made))
        return token

    def withdraw(self, number: int) -> None:
        """Let nobody in by an invitation any more, nor stay in."""
        with _CHANGING:
            left = tuple(each for each in self.all() if each.number != number)
            if len(left) == len(self.all()):
                raise UndersongError("That invitation is withdrawn already.")
            self._keep(left)

    def invited(self, token: str) -> Guest | None:
        """Whose link this is; None where it is nobody's."""
        found = self._holder(token)
        return None if found is None else found.guest

    def enter(self, token: str) -> str:
        """Come in by a link: the secret of a new session."""
        secret = secrets.token_urlsafe(32)
        with _CHANGING:
            found = self._holder(token)
            if found is None:
                raise UndersongError(WITHDRAWN)
            sessions = (*found.sessions, _hash(secret))[-MOST_SESSIONS:]
            entered = replace(found, sessions=sessions)
            self._keep(
                tuple(entered if each.number == found.number else each for each in self.all())
            )
        return secret

    def guest(self, secret: str) -> Guest | None:
        """Whose session this is; None where it is nobody's, or withdrawn."""
        wanted = _hash(secret)
        for each in self.all():
            if wanted in each.sessions:
                return each.guest
        return None

    def leave(self, secret: str) -> None:
        """End one session."""
        gone = _hash(secret)
        with _CHANGING:
            self._keep(
                tuple(
                    replace(each, sessions=tuple(one for one in each.sessions if one != gone))
                    for each in self.all()
                )
            )

    def _holder(self, token: str) -> Invitation | None:
        wanted = _hash(token)
        return next((each for each in self.all() if each.token == wanted), None)

    def _keep(self, invitations: tuple[Invitation, ...]) -> None:
        ordered = sorted(invitations, key=lambda each: each.number)
        self._book.keep_setting(
            INVITATIONS, [asdict(each) | {"role": each.role.value} for each in ordered]
        )


WITHDRAWN = "This link lets nobody in: it was withdrawn, or a newer one was made. Ask the leader."


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _read(kept: Mapping[str, object]) -> Invitation:
    sessions = kept["sessions"]
    return Invitation(
        number=int(str(kept["number"])),
        name=str(kept["name"]),
        role=Role(kept["role"]),
        made_on=str(kept["made_on"]),
        token=str(kept["token"]),
        sessions=tuple(str(each) for each in sessions) if isinstance(sessions, list) else (),
    )
