"""Pages out of the record: the daily report, the delay letter, the inspector's spots."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.sheets import look
from tackfree.sheets.typeset import typeset


@dataclass(frozen=True, kw_only=True)
class PaperTable:
    """One table under a heading; ``right`` names the columns of figures."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class RecordPaper:
    """A page or more out of the record, in one language, everything already said."""

    title: str
    job: str
    date: str
    lead: tuple[str, ...]
    tables: tuple[PaperTable, ...]
    made_utc_s: int
    language: str = "en"
    paragraphs: tuple[str, ...] = ()
    doubts_title: str = ""
    doubts: tuple[str, ...] = ()
    signs: tuple[str, ...] = ()
    foot: str = ""
    invented: str = ""
    letter: bool = True


def render_record_paper(paper: RecordPaper) -> bytes:
    """The paper as PDF; the same bytes each time.

    Raises
    ------
    SheetError
        If the setter warns of anything.
    """
    data = {
        "title": paper.title, "job": paper.job, "date": paper.date, "lead": list(paper.lead),
        "tables": [
            {"title": t.title, "head": list(t.head), "rows": [list(r) for r in t.rows],
             "right": list(t.right), "note": t.note}
            for t in paper.tables
        ],
        "paragraphs": list(paper.paragraphs), "doubts-title": paper.doubts_title,
        "doubts": list(paper.doubts), "signs": list(paper.signs), "foot": paper.foot,
        "invented": paper.invented, "language": paper.language, "colours": dict(look.PRINT),
        "paper": "us-letter" if paper.letter else "a4",
    }  # fmt: skip
    return typeset("daily", data, made_utc_s=paper.made_utc_s, where=paper.title)


def text_of(paper: RecordPaper) -> str:
    """The same as plain text."""
    lines = [f"{paper.title} · {paper.job}", paper.date, *paper.lead, *paper.paragraphs]
    if paper.invented:
        lines.insert(1, paper.invented)
    if paper.doubts:
        lines += ["", paper.doubts_title, *(f"  ! {d}" for d in paper.doubts)]
    for t in paper.tables:
        lines += ["", t.title]
        widths = [max(len(r[k]) for r in (t.head, *t.rows)) for k in range(len(t.head))]
        for row in (t.head, *t.rows):
            cells = [
                c.rjust(w) if k in t.right else c.ljust(w)
                for k, (c, w) in enumerate(zip(row, widths, strict=True))
            ]
            lines.append("  " + "  ".join(cells).rstrip())
        if t.note:
            lines.append(f"  {t.note}")
    return "\n".join([*lines, "", paper.foot]).rstrip()
