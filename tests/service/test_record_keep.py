"""Whole bundles out and in again, and tables of readings as entries."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tackfree.errors import InputError, Refused, ToolError
from tackfree.service import job, record
from tackfree.service.recording import csv_in, keep

HEAD = "time,section,coat,x_ft,y_ft,unit,wet_tooth,dry_tooth,gauge,gauge_checked\n"
ROW = "2027-04-20 09:15,MAIN-1,BASE,10,20,mil,24,26,G-1,yes\n"


@pytest.fixture
def bundle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv(record.DATABASE, raising=False)
    job.new(tmp_path / "job")
    return tmp_path / "job"


def test_backup_and_restore_by_one_command_each(bundle: Path, tmp_path: Path) -> None:
    record.add(bundle, kind="note", body={"text": "Gate closed"})
    record.add(bundle, kind="note", body={"text": "second"})
    marks = {".tackfree/marks-device": "marks-1\n", ".tackfree/layouts/MAIN-1.BASE.json": "{}"}
    for name, text in marks.items():
        (bundle / name).parent.mkdir(exist_ok=True)
        (bundle / name).write_text(text, "utf-8")
    counts = keep.back_up(bundle, tmp_path / "kept.zip")
    assert counts["entry"] == 2
    again = tmp_path / "again"
    keep.restore(tmp_path / "kept.zip", again)
    assert {n: (again / n).read_text("utf-8") for n in marks} == marks
    assert not (again / ".tackfree" / "device").exists()  # it is another machine now
    assert record.listed(again) == record.listed(bundle)
    assert record.verified(again) == (2, ())
    assert (again / "job.toml").read_bytes() == (bundle / "job.toml").read_bytes()
    with pytest.raises(InputError, match="record here already"):
        keep.restore(tmp_path / "kept.zip", again)
    record.add(again, kind="note", body={"text": "after the restore"})
    keep.restore(tmp_path / "kept.zip", again, replace=True)
    assert len(record.listed(again)) == 2
    assert (again / ".tackfree" / "job.sqlite.before-restore-1").exists()


def test_a_damaged_record_is_not_backed_up_but_restored(bundle: Path, tmp_path: Path) -> None:
    record.add(bundle, kind="note", body={"text": "Gate closed"})
    keep.back_up(bundle, tmp_path / "kept.zip")
    path = bundle / ".tackfree" / "job.sqlite"
    raw = path.read_bytes()
    path.write_bytes(raw[: len(raw) // 2])
    with pytest.raises(ToolError, match="damaged"):
        keep.back_up(bundle, tmp_path / "later.zip")
    assert not (tmp_path / "later.zip").exists()
    keep.restore(tmp_path / "kept.zip", bundle, replace=True)
    assert record.verified(bundle) == (1, ())


def test_an_export_is_taken_into_another_bundle(bundle: Path, tmp_path: Path) -> None:
    record.add(bundle, kind="note", body={"text": "Gate closed"})
    files = keep.export(bundle, tmp_path / "out")
    assert {"record.jsonl", "held.jsonl", "csv/note.csv", "manifest.json"} == set(files)
    job.new(tmp_path / "other")
    assert keep.take_file(tmp_path / "other", tmp_path / "out")["stored"] == 1
    assert keep.take_file(tmp_path / "other", tmp_path / "out/record.jsonl")["duplicate"] == 1
    assert [e.sha for e in record.listed(tmp_path / "other")] == [
        e.sha for e in record.listed(bundle)
    ]


def test_gauge_readings_come_from_a_table_once(bundle: Path, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(HEAD + ROW + ROW.replace("24,26", "26,"), "utf-8")
    assert csv_in.take_readings(bundle, file, person="R. Roe").counts["stored"] == 2
    assert csv_in.take_readings(bundle, file, person="R. Roe").counts["duplicate"] == 2
    first, second = record.listed(bundle)
    # published: 1 ft = 0.3048 m, NIST SP 811
    assert (first.body["x_m"], first.body["y_m"]) == pytest.approx((3.048, 6.096))
    assert first.wall == "2027-04-20T09:15:00-04:00"
    assert (first.body["wet_tooth"], first.body["gauge_checked"]) == (24, True)
    assert "dry_tooth" not in second.body
    assert record.verified(bundle) == (2, ())


def test_every_fault_of_a_table_comes_at_once_and_nothing_is_taken(
    bundle: Path, tmp_path: Path
) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(
        HEAD.replace("gauge_checked", "mood")
        + ROW
        + ROW.replace("24,26", "x,26").replace("2027-04-20 09:15", "2027-03-14 02:30")
        + ROW.replace("2027-04-20 09:15", "2027-11-07 01:30"),
        "utf-8",
    )
    with pytest.raises(Refused) as caught:
        csv_in.take_readings(bundle, file, person="R. Roe")
    told = " ".join(str(f) for f in caught.value.faults)
    for part in ("head", "row 3", "row 4", "'mood'", "'x'", "does not exist", "comes twice"):
        assert part in told
    assert record.listed(bundle) == ()


def test_a_loggers_day_is_one_entry(bundle: Path, tmp_path: Path) -> None:
    file = tmp_path / "logger.csv"
    rows = [f"2027-04-20 {h:02d}:{m:02d},{60 + h},70.5,45" for h in range(24) for m in (0, 30)]
    file.write_text("Time (UTC-04:00),Slab °F,Air °F,RH %\n" + "\n".join(rows) + "\n", "utf-8")
    took = csv_in.take_logger(bundle, file, person="R. Roe", instrument="LOG-3", place="P1")
    assert took.counts["stored"] == 1
    assert f"{took.first:%H:%M} {took.last:%H:%M}" == "00:00 23:30"  # on the job's clock
    assert csv_in.take_logger(
        bundle, file, person="R. Roe", instrument="LOG-3", place="P1"
    ).counts == {"stored": 0, "duplicate": 1, "conflict": 0, "held": 0}  # fmt: skip
    (e,) = record.listed(bundle)
    body = json.loads(json.dumps(dict(e.body)))
    assert set(body["columns"]) == {"slab_c", "air_c", "rh"}
    assert len(body["rows"]) == 48
    slab = 1 + body["columns"].index("slab_c")
    # published: (68 °F − 32) / 1.8 = 20 °C exactly
    assert body["rows"][16] == [8 * 3600, *body["rows"][16][1:]]
    assert body["rows"][16][slab] == pytest.approx(20.0, abs=1e-3)


SAVED = {  # how spreadsheets of different countries and makers save one and the same table
    "comma": ("utf-8", HEAD + ROW),
    "mark": ("utf-8-sig", HEAD + ROW),
    "semicolon": ("utf-8", (HEAD + ROW).replace(",", ";").replace("10;20", "10,0;20,0")),
    "tab": ("utf-16", (HEAD + ROW).replace(",", "\t")),
    "bar": ("utf-8", (HEAD + ROW).replace(",", "|").replace("\n", "\r\n")),
    "quoted": ("utf-8", HEAD + ROW.replace("10,20", '"10,0","20,0"')),
    "windows": (
        "cp1252",
        "Date;Time;Section;Coat;X (ft);Y (ft);Wet tooth [µm];Dry tooth [µm];Gauge;"
        "Gauge checked\n20/04/2027;09:15;MAIN-1;BASE;10;20;609,6;660,4;G-1;sí\n",
    ),
    "month-first": (
        "utf-8",
        HEAD.replace("wet_tooth", "Wet tooth (mil)").replace("unit,", "")
        + ROW.replace("2027-04-20 09:15", "4/20/2027 9:15 AM").replace("mil,", ""),
    ),
    "away": ("utf-8", HEAD + ROW.replace("2027-04-20 09:15", "2027-04-20T13:15Z")),
}


@pytest.mark.parametrize("saved", SAVED)
def test_one_table_is_one_reading_however_it_was_saved(
    bundle: Path, tmp_path: Path, saved: str
) -> None:
    plain, odd = tmp_path / "plain.csv", tmp_path / "odd.csv"
    plain.write_text(HEAD + ROW, "utf-8")
    encoding, text = SAVED[saved]
    odd.write_bytes(text.encode(encoding))
    took = csv_in.take_readings(bundle, odd, person="R. Roe")
    assert took.counts["stored"] == 1
    (e,) = record.listed(bundle)
    assert e.wall == "2027-04-20T09:15:00-04:00"  # exact: 13:15 UTC is 9:15 in New York in April
    # published: 1 ft = 0.3048 m, NIST SP 811; 24 mil = 609.6 µm
    assert (e.body["x_m"], e.body["y_m"]) == pytest.approx((3.048, 6.096))
    teeth = (24, 26) if e.body["unit"] == "mil" else (609.6, 660.4)
    assert (e.body["wet_tooth"], e.body["dry_tooth"]) == teeth
    if saved != "windows":  # in µm it is another text of the same thing
        again = csv_in.take_readings(bundle, plain, person="R. Roe")
        assert (again.counts["stored"], again.counts["duplicate"]) == (0, 1)
    assert record.verified(bundle) == (1, ())


def test_a_longer_table_adds_its_new_rows_and_a_withdrawn_one_stays_away(
    bundle: Path, tmp_path: Path
) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(HEAD + ROW + ROW, "utf-8")  # two equal readings are two readings
    assert csv_in.take_readings(bundle, file, person="R. Roe").counts["stored"] == 2
    first = record.listed(bundle)[0]
    record.add(bundle, kind="correction", body={"corrects": first.id, "reason": "typed twice"})
    file.write_text(HEAD + ROW + ROW + ROW.replace("09:15", "09:20"), "utf-8")
    counts = csv_in.take_readings(bundle, file, person="R. Roe").counts
    assert (counts["stored"], counts["duplicate"]) == (1, 2)
    assert record.verified(bundle) == (4, ())


@pytest.mark.parametrize(
    ("head", "row", "told"),
    [
        (HEAD, ROW.replace("2027-04-20", "03/04/2027"), "day first and month first"),
        (HEAD.replace("x_ft", "x"), ROW, "m or ft"),
        (HEAD.replace("x_ft", "x (mil)"), ROW, "a place is in m or ft"),
        (HEAD.replace("wet_tooth", "wet tooth (um)"), ROW, "its heading says um"),
        (HEAD, ROW.replace("\n", ",extra\n"), "more cells"),
        (HEAD, ROW.replace("24,26", "26,24"), "must be higher"),
        (HEAD, "", "no row"),
    ],
)  # fmt: skip
def test_what_can_be_read_two_ways_is_refused(
    bundle: Path, tmp_path: Path, head: str, row: str, told: str
) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(head + row, "utf-8")
    with pytest.raises(Refused) as caught:
        csv_in.take_readings(bundle, file, person="R. Roe")
    assert told in " ".join(str(f) for f in caught.value.faults)
    assert record.listed(bundle) == ()


def test_a_picture_is_no_table(bundle: Path) -> None:
    with pytest.raises(InputError, match="no text"):
        csv_in.take_readings(
            bundle, csv_in.Upload(name="a.csv", data=b"\x89PNG\r\n\0\1"), person="R"
        )


def test_a_logger_that_gives_its_whole_memory_adds_what_is_new(
    bundle: Path, tmp_path: Path
) -> None:
    def saved(hours: range, clock: str = "Time (UTC-04:00)") -> Path:
        file = tmp_path / "logger.csv"
        rows = [f"2027-04-{20 + h // 24} {h % 24:02d}:00;{60 + h / 10:.1f}".replace(".", ",")
                for h in hours]  # fmt: skip
        file.write_text(f"{clock};Deck °F\n" + "\n".join(rows) + "\n", "utf-8")
        return file

    def take(file: Path, **columns: str) -> dict[str, int]:
        mapping = csv_in.Columns(**columns) if columns else None
        took = csv_in.take_logger(
            bundle, file, person="R. Roe", instrument="LOG-3", columns=mapping
        )
        return {k: took.counts[k] for k in ("stored", "duplicate")}

    assert take(saved(range(10))) == {"stored": 1, "duplicate": 0}
    assert take(saved(range(30))) == {"stored": 2, "duplicate": 0}  # the rest of one day, the next
    assert take(saved(range(30))) == {"stored": 0, "duplicate": 2}
    sampled = [r for e in record.listed(bundle) for r in e.body["rows"]]
    assert len(sampled) == 30
    # a clock that says no zone is asked for it, not guessed at
    with pytest.raises(InputError, match="time zone"):
        take(saved(range(3), "Time"))
    assert take(saved(range(30), "Time"), zone="America/New_York")["stored"] == 0
    # exact: the same times on a clock of UTC are other moments, four hours earlier
    assert take(saved(range(4), "Time"), zone="UTC") == {"stored": 1, "duplicate": 0}
