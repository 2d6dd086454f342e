"""Rows of people, devices, invitations, sessions and owner's views. Only hashes of secrets."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, func, select, update

from tackfree.errors import InputError, NotFound
from tackfree.record.store import Record, now_utc
from tackfree.record.tables import device, invitation, person, session, view


@dataclass(frozen=True, kw_only=True)
class Person:
    """One person of the job. ``ended`` tells when they left."""

    id: str
    name: str
    role: str
    password: str | None
    made: str
    ended: str | None


@dataclass(frozen=True, kw_only=True)
class Known:
    """Who a secret stands for: the person, and the device where it is one's token."""

    person: Person
    device: str | None = None


@dataclass(frozen=True, kw_only=True)
class Invitation:
    """An open invitation; its code is not kept."""

    name: str
    role: str
    made_by: str
    made: str
    expires: str
    used: str | None


@dataclass(frozen=True, kw_only=True)
class Device:
    """One phone or browser of a person."""

    id: str
    person: str
    name: str
    made: str
    revoked: str | None


@dataclass(frozen=True, kw_only=True)
class View:
    """A link for somebody who only looks."""

    id: str
    label: str
    made_by: str
    made: str
    expires: str
    revoked: str | None


def hash_of(secret: str) -> str:
    """What is kept of a random secret of 256 bits; it needs no slow hash."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def after(hours: float) -> str:
    """A moment from now on, as the record writes moments."""
    moment = datetime.now(UTC) + timedelta(hours=hours)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def invite(record: Record, *, name: str, role: str, by: str, hours: float) -> str:
    """Write an invitation and give its code, which is told once and used once."""
    code = secrets.token_urlsafe(24)
    with record.writing() as connection:
        connection.execute(
            invitation.insert().values(
                code_sha=hash_of(code), name=name, role=role, made_by=by, made=now_utc(),
                expires=after(hours), used=None,
            )
        )  # fmt: skip
    return code


def invited(record: Record, code: str) -> Invitation:
    """The open invitation of a code.

    Raises
    ------
    NotFound
        If there is none, or it is used or over.
    """
    with record.reading() as connection:
        return _invitation(_open_invitation(connection, code))


def _open_invitation(connection: Connection, code: str) -> Row[Any]:
    row = connection.execute(
        select(invitation).where(invitation.c.code_sha == hash_of(code))
    ).first()
    if row is None or row.used is not None or row.expires <= now_utc():
        raise NotFound(
            "this invitation is used, over, or was never made.",
            where="invitation",
            do="Ask the office for a new one.",
        )
    return row


def _invitation(row: Row[Any]) -> Invitation:
    return Invitation(**{k: v for k, v in row._mapping.items() if k != "code_sha"})


def redeem(
    record: Record, code: str, *, device_name: str, password: str | None
) -> tuple[Known, str]:
    """Make the person and device of an invitation; gives the device's token, told once.

    A person who is known under the name gets one device more; role and password of an
    invitation win over what was before.
    """
    token = secrets.token_urlsafe(32)
    with record.writing() as connection:
        row = _open_invitation(connection, code)
        connection.execute(
            update(invitation).where(invitation.c.code_sha == row.code_sha).values(used=now_utc())
        )
        found = connection.execute(select(person).where(person.c.name == row.name)).first()
        values: dict[str, Any] = {"role": row.role, "ended": None}
        if password is not None:
            values["password"] = password
        if found is None:
            values |= {"id": f"P-{secrets.token_hex(6)}", "name": row.name, "made": now_utc()}
            connection.execute(person.insert().values({"password": None, **values}))
            person_id = values["id"]
        else:
            person_id = found.id
            connection.execute(update(person).where(person.c.id == person_id).values(values))
        device_id = f"phone-{secrets.token_hex(8)}"
        connection.execute(
            device.insert().values(
                id=device_id, person_id=person_id, name=device_name, token_sha=hash_of(token),
                made=now_utc(), revoked=None,
            )
        )  # fmt: skip
        who = connection.execute(select(person).where(person.c.id == person_id)).one()
    return Known(person=Person(**who._mapping), device=device_id), token


def by_token(record: Record, token: str) -> Known | None:
    """Who a device's token stands for, if neither is ended."""
    if not token:
        return None
    query = (
        select(person, device.c.id.label("device_id"))
        .join(device, device.c.person_id == person.c.id)
        .where(
            device.c.token_sha == hash_of(token),
            device.c.revoked.is_(None),
            person.c.ended.is_(None),
        )
    )
    with record.reading() as connection:
        row = connection.execute(query).first()
    if row is None:
        return None
    values = dict(row._mapping)
    device_id = values.pop("device_id")
    return Known(person=Person(**values), device=device_id)


def by_session(record: Record, token: str) -> Known | None:
    """Who a session stands for, if it is not over."""
    if not token:
        return None
    query = (
        select(person)
        .join(session, session.c.person_id == person.c.id)
        .where(
            session.c.token_sha == hash_of(token),
            session.c.expires > now_utc(),
            person.c.ended.is_(None),
        )
    )
    with record.reading() as connection:
        row = connection.execute(query).first()
    return None if row is None else Known(person=Person(**row._mapping))


def by_name(record: Record, name: str) -> Person | None:
    """The person of a name who has not left."""
    query = select(person).where(person.c.name == name, person.c.ended.is_(None))
    with record.reading() as connection:
        row = connection.execute(query).first()
    return None if row is None else Person(**row._mapping)


def open_session(record: Record, person_id: str, *, hours: float) -> str:
    """Begin a session; gives its token. Sessions that are over go."""
    token = secrets.token_urlsafe(32)
    with record.writing() as connection:
        connection.execute(session.delete().where(session.c.expires <= now_utc()))
        connection.execute(
            session.insert().values(
                token_sha=hash_of(token), person_id=person_id, made=now_utc(),
                expires=after(hours),
            )
        )  # fmt: skip
    return token


def close_session(record: Record, token: str) -> None:
    """End a session."""
    with record.writing() as connection:
        connection.execute(session.delete().where(session.c.token_sha == hash_of(token)))


def make_view(record: Record, *, label: str, by: str, days: float) -> str:
    """Make a link for somebody who only looks; gives its token, told once."""
    token = secrets.token_urlsafe(32)
    with record.writing() as connection:
        connection.execute(
            view.insert().values(
                token_sha=hash_of(token), label=label, made_by=by, made=now_utc(),
                expires=after(24 * days), revoked=None,
            )
        )  # fmt: skip
    return token


def by_view(record: Record, token: str) -> View | None:
    """The owner's view of a token, if it is not over."""
    if not token:
        return None
    query = select(view).where(
        view.c.token_sha == hash_of(token), view.c.revoked.is_(None), view.c.expires > now_utc()
    )
    with record.reading() as connection:
        row = connection.execute(query).first()
    return None if row is None else _view(row)


def _view(row: Row[Any]) -> View:
    values = dict(row._mapping)
    return View(id=values.pop("token_sha")[:16], **values)


def any_people(record: Record) -> bool:
    """Whether anybody has been invited and came."""
    with record.reading() as connection:
        return bool(connection.execute(select(func.count()).select_from(person)).scalar())


@dataclass(frozen=True, kw_only=True)
class Everybody:
    """Who may enter, by what; the newest first."""

    people: tuple[Person, ...]
    devices: tuple[Device, ...]
    invitations: tuple[Invitation, ...]
    views: tuple[View, ...]


def everybody(record: Record) -> Everybody:
    """People, devices, open invitations and views."""
    devices = select(
        device.c.id, person.c.name.label("person"), device.c.name, device.c.made, device.c.revoked
    ).join(person, person.c.id == device.c.person_id)
    unused = select(invitation).where(invitation.c.used.is_(None), invitation.c.expires > now_utc())
    with record.reading() as connection:
        ask = connection.execute
        return Everybody(
            people=tuple(Person(**r._mapping) for r in ask(select(person).order_by(person.c.name))),
            devices=tuple(
                Device(**r._mapping) for r in ask(devices.order_by(device.c.made.desc()))
            ),
            invitations=tuple(map(_invitation, ask(unused.order_by(invitation.c.made.desc())))),
            views=tuple(map(_view, ask(select(view).order_by(view.c.made.desc())))),
        )


def revoke_device(record: Record, device_id: str) -> None:
    """A lost phone: its token is refused from now on; its entries stay."""
    _end(record, update(device).where(device.c.id == device_id, device.c.revoked.is_(None))
         .values(revoked=now_utc()), f"device {device_id}")  # fmt: skip


def revoke_view(record: Record, view_id: str) -> None:
    """Close an owner's view before its time."""
    if len(view_id) != 16:
        raise NotFound(f"there is no open view {view_id!r}.", where="people", do="Load the page.")
    _end(record, update(view).where(view.c.token_sha.startswith(view_id), view.c.revoked.is_(None))
         .values(revoked=now_utc()), f"view {view_id}")  # fmt: skip


def end_person(record: Record, person_id: str) -> None:
    """Somebody left: every session and device of theirs is refused from now on.

    Raises
    ------
    InputError
        If nobody would be left who may invite.
    """
    with record.writing() as connection:
        offices = connection.execute(
            select(person.c.id).where(person.c.role == "office", person.c.ended.is_(None))
        ).scalars()
        if list(offices) == [person_id]:
            raise InputError(
                "nobody of the office would be left.", where="people",
                do="Invite somebody else for the office first.",
            )  # fmt: skip
    _end(record, update(person).where(person.c.id == person_id, person.c.ended.is_(None))
         .values(ended=now_utc()), f"person {person_id}")  # fmt: skip


def _end(record: Record, change: Any, what: str) -> None:
    with record.writing() as connection:
        if connection.execute(change).rowcount == 0:
            raise NotFound(f"there is no open {what[:60]}.", where="people", do="Load the page.")
