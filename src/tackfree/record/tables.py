"""The tables as they are now; how they came to be is in :mod:`migrations`."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, ForeignKey, Identity, Integer, MetaData, Table, Text

metadata = MetaData()

_position = BigInteger().with_variant(Integer, "sqlite")

migration = Table(
    "migration",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("ran", Text, nullable=False),  # UTC, ISO 8601
)

job = Table(
    "job",
    metadata,
    Column("id", Text, primary_key=True),
    Column("made", Text, nullable=False),
)

# One state of the job document; never changed.
revision = Table(
    "revision",
    metadata,
    Column("id", Text, primary_key=True),  # SHA-256 of job, predecessor and content
    Column("job_id", Text, ForeignKey("job.id"), nullable=False),
    Column("number", Integer, nullable=False),  # 1, 2, 3 … in its job
    Column("predecessor", Text, ForeignKey("revision.id")),
    Column("content_sha", Text, nullable=False),
    Column("documents", Text, nullable=False),  # canonical JSON: path -> text
    Column("person", Text, nullable=False),
    Column("made", Text, nullable=False),
    Column("seal", Text, nullable=False),
)

# One immutable line of the record.
entry = Table(
    "entry",
    metadata,
    Column("pos", _position, Identity(always=True), primary_key=True),
    Column("id", Text, nullable=False, unique=True),  # ULID made by the device
    Column("job_id", Text, ForeignKey("job.id"), nullable=False),
    Column("device", Text, nullable=False),
    Column("seq", Integer, nullable=False),
    Column("person", Text, nullable=False),
    Column("wall", Text, nullable=False),  # ISO 8601 with offset, as the device saw it
    Column("zone", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("v", Integer, nullable=False),
    Column("body", Text, nullable=False),  # canonical JSON
    Column("previous", Text, nullable=False),  # SHA-256 of the device's entry before, or ""
    Column("sha", Text, nullable=False),
    Column("received", Text, nullable=False),
    Column("seal", Text, nullable=False),
)

# What was refused, raw, with the reason. An entry that is mended is appended above.
held = Table(
    "held",
    metadata,
    Column("pos", _position, Identity(always=True), primary_key=True),
    Column("id", Text, nullable=False),  # as claimed, or ""
    Column("device", Text, nullable=False),
    Column("seq", Integer, nullable=False),  # as claimed, or 0
    Column("raw", Text, nullable=False),
    Column("sha", Text, nullable=False, unique=True),  # of the raw text
    Column("reason", Text, nullable=False),
    Column("received", Text, nullable=False),
    Column("seal", Text, nullable=False),
)

# People and what they enter by. These rows change: a device is revoked, a person leaves.
person = Table(
    "person",
    metadata,
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("role", Text, nullable=False),
    Column("password", Text),  # argon2, or none: this person has phones only
    Column("made", Text, nullable=False),
    Column("ended", Text),
)

device = Table(
    "device",
    metadata,
    Column("id", Text, primary_key=True),
    Column("person_id", Text, ForeignKey("person.id"), nullable=False),
    Column("name", Text, nullable=False),
    Column("token_sha", Text, nullable=False, unique=True),
    Column("made", Text, nullable=False),
    Column("revoked", Text),
)

invitation = Table(
    "invitation",
    metadata,
    Column("code_sha", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("made", Text, nullable=False),
    Column("expires", Text, nullable=False),
    Column("used", Text),
)

session = Table(
    "session",
    metadata,
    Column("token_sha", Text, primary_key=True),
    Column("person_id", Text, ForeignKey("person.id"), nullable=False),
    Column("made", Text, nullable=False),
    Column("expires", Text, nullable=False),
)

# A link for somebody who only looks.
view = Table(
    "view",
    metadata,
    Column("token_sha", Text, primary_key=True),
    Column("label", Text, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("made", Text, nullable=False),
    Column("expires", Text, nullable=False),
    Column("revoked", Text),
)
