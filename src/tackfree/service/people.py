"""Who may do what with a record: people, their devices, and those who only look."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal, cast

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError

from tackfree.errors import Fault, Refused
from tackfree.record import people as rows
from tackfree.record.checking import Sender
from tackfree.record.people import Everybody, Invitation, Known, View
from tackfree.record.store import Record
from tackfree.service.record import this_person

Role = Literal["office", "foreman", "crew", "inspector", "owner"]
ROLES: tuple[Role, ...] = ("office", "foreman", "crew", "inspector")  # whom one can invite
SESSION_H = 12.0
INVITE_H = 72.0
PASSWORD_MIN = 10
NAME = re.compile(r"^[^\x00-\x1f\x7f]{2,80}$")

# published: RFC 9106 section 4, the second recommended option is 64 MiB, 3 passes, 4 lanes;
# here 19 MiB, 2 passes, 1 lane, so that a laptop on a job answers many (OWASP's least).
_hasher = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)

# Entries that somebody of a role may not write: a release is signed by who answers for it.
NOT_KINDS: Mapping[Role, frozenset[str]] = {
    "office": frozenset(),
    "foreman": frozenset(),
    "crew": frozenset({"release", "inspector-spots"}),
    "inspector": frozenset({"delivery", "batch", "placement", "crew-hours", "area-prepared"}),
}
WRITERS: frozenset[Role] = frozenset(NOT_KINDS)
MONEY = re.compile(r"^/(materials|price|files/(order|price|proposal|quote|bid)[^/]*)(/|$)")
VIEWED = re.compile(
    r"^/($|(ask|deck|clocks|strip|plan|shift|weather|marks|daily|section|film)(/|$)|files/|"
    r"api/(entries|photos/.*|me|field)$|static/)"
)
# What a crew marks on the floor; a layout is cut anew by who answers for the shift.
MARKING = frozenset({"/marks/tap", "/marks/through", "/marks/undo", "/marks/reached"})

SEVERAL = "/plan/jobs"
SPOTS = re.compile(r"^/section/[^/]+/spots$")  # drawn by lot, for the inspector


@dataclass(frozen=True, kw_only=True)
class Caller:
    """Who sent a request. ``device`` is a phone with a token of its own, or None."""

    person: str
    role: Role
    mode: Literal["single", "team"]
    device: str | None = None

    @property
    def sender(self) -> Sender | None:
        """What the entries of this caller must name; None where they may name anybody."""
        if self.mode == "single" or (self.device is None and self.role in ("office", "foreman")):
            return None
        return Sender(
            device=self.device, person=self.person, not_kinds=NOT_KINDS.get(self.role, frozenset())
        )


def alone() -> Caller:
    """The one person who uses this machine; no account is asked for."""
    return Caller(person=this_person(), role="office", mode="single")


def known_as(known: Known) -> Caller:
    """A person of the team."""
    return Caller(
        person=known.person.name, role=cast(Role, known.person.role), mode="team",
        device=known.device,
    )  # fmt: skip


def viewed_as(view: View) -> Caller:
    """Somebody with an owner's view."""
    return Caller(person=view.label, role="owner", mode="team")


def may(caller: Caller, method: str, path: str) -> bool:
    """Whether somebody may ask for an address. Reading is for all but money; see the rules."""
    if caller.mode == "single":
        return True
    role = caller.role
    reads = method in ("GET", "HEAD")
    if path == "/sign-out":
        return True
    if path == "/people" or path.startswith("/people/"):
        return role == "office"
    if role == "owner" and path == SEVERAL:
        return False  # other owners' jobs
    if path == "/daily/bring":  # whole tables are taken in by who answers for them
        return role in ("office", "foreman")
    if role == "owner":
        return reads and VIEWED.match(path) is not None and MONEY.match(path) is None
    if reads:
        return role in ("office", "foreman") or MONEY.match(path) is None
    if path == "/api/entries" or path.startswith("/api/photos/"):
        return role in WRITERS
    if path in MARKING and role == "crew":
        return True
    if SPOTS.match(path) and role == "inspector":
        return True
    return role in ("office", "foreman")


def invite(record: Record, *, name: str, role: str, by: str, hours: float = INVITE_H) -> str:
    """Invite somebody by name and role; gives the code of the address to open.

    Raises
    ------
    Refused
        If the name or the role cannot be.
    """
    faults = _name_faults(name)
    if role not in ROLES:
        faults.append(
            Fault(where="role", what=f"{role[:40]!r} is no role.", do=f"Use {', '.join(ROLES)}.")
        )
    if faults:
        raise Refused(faults)
    return rows.invite(record, name=name.strip(), role=role, by=by, hours=hours)


def invited(record: Record, code: str) -> Invitation:
    """The open invitation of a code."""
    return rows.invited(record, code)


def redeem(record: Record, code: str, *, device_name: str, password: str) -> tuple[Caller, str]:
    """Join by an invitation: the caller, and the token of this device.

    Raises
    ------
    NotFound
        If the invitation is used or over.
    Refused
        If the password is too short, or the office has none.
    """
    found = rows.invited(record, code)
    faults = []
    if password and not PASSWORD_MIN <= len(password) <= 200:
        faults.append(_short_password())
    if not password and found.role == "office" and rows.by_name(record, found.name) is None:
        faults.append(_short_password())
    if device_name and not NAME.match(device_name):
        faults.append(Fault(where="device", what="the name of the device cannot be used.",
                            do="Write 2 to 80 letters."))  # fmt: skip
    if faults:
        raise Refused(faults)
    known, token = rows.redeem(
        record, code, device_name=device_name or "phone",
        password=_hasher.hash(password) if password else None,
    )  # fmt: skip
    return known_as(known), token


def sign_in(record: Record, name: str, password: str) -> tuple[Caller, str] | None:
    """A session for a name and its password, or None. Both take the same time."""
    found = rows.by_name(record, name.strip())
    kept = found.password if found is not None else None
    try:
        _hasher.verify(kept or _nobody(), password)
    except (VerifyMismatchError, InvalidHashError):
        return None
    if found is None or kept is None:
        return None
    return known_as(Known(person=found)), rows.open_session(record, found.id, hours=SESSION_H)


@cache
def _nobody() -> str:
    return _hasher.hash("the password of nobody")


def view_link(record: Record, *, label: str, by: str, days: float) -> str:
    """A read-only link for the owner; gives its token.

    Raises
    ------
    Refused
        If the label or the number of days cannot be.
    """
    faults = _name_faults(label, "label")
    if not 1 <= days <= 3700:
        faults.append(Fault(where="days", what=f"{days:g} days cannot be.", do="Use 1 to 3700."))
    if faults:
        raise Refused(faults)
    return rows.make_view(record, label=label.strip(), by=by, days=days)


def first_invitation(record: Record) -> str | None:
    """The code of an invitation for the office, where nobody has joined yet."""
    if rows.any_people(record):
        return None
    return invite(record, name="Office", role="office", by=this_person())


def everybody(record: Record) -> Everybody:
    """Who may enter, by what."""
    return rows.everybody(record)


def _name_faults(name: str, where: str = "name") -> list[Fault]:
    if NAME.match(name.strip()):
        return []
    return [Fault(where=where, what="the name cannot be used.", do="Write 2 to 80 letters.")]


def _short_password() -> Fault:
    return Fault(
        where="password",
        what=f"the password has fewer than {PASSWORD_MIN} letters.",
        do="Choose a longer one; a few words are good.",
    )
