"""The record: immutable job revisions and append-only entries, SQLite or PostgreSQL."""
