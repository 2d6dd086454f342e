"""Commands of the plan's faces: stalls, weeks ahead, papers, jobs and daily questions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tackfree.cli.common import Bundle, Json, Out, Units, emit, system

if TYPE_CHECKING:
    from datetime import date, datetime
    from zoneinfo import ZoneInfo

Built = Annotated[
    Path, typer.Argument(help="A job bundle, or the folder a build wrote.", metavar="B")
]
On = Annotated[str, typer.Option("--date", help="A day, as 2027-04-22.")]
Language = Annotated[str, typer.Option("--lang", help="en or es.", metavar="en|es")]


def add_to(plan: typer.Typer) -> None:
    """Hang the commands under ``plan``."""
    plan.command("stalls", epilog="Try: tackfree plan stalls demo/out --date 2027-04-22")(stalls)
    plan.command("ahead", epilog="Try: tackfree plan ahead demo/out --date 2027-04-22")(ahead)
    plan.command("paper", epilog="Try: tackfree plan paper demo/out --out papers")(paper)
    plan.command(
        "move",
        epilog="Try: tackfree plan move demo/job --step P1-STALL-A-1/TOP --to 2027-05-12T07:00 "
        "--crew CREW-DAY",
    )(move)
    plan.command("jobs", epilog="Try: tackfree plan jobs demo/out other/out --at 2027-04-22T07:00")(
        jobs
    )
    plan.command(
        "short",
        epilog="Try: tackfree plan short demo/out --date 2027-04-22 --crew CREW-DAY --short 2",
    )(short)
    plan.command(
        "stop-line", epilog="Try: tackfree plan stop-line demo/out --date 2027-04-22 --by 14:00"
    )(stop_line)
    plan.command("pace", epilog="Try: tackfree plan pace demo/job --at 2027-05-03T07:00")(pace)


def stalls(bundle: Built, date: On = "", lang: Language = "en", json: Json = False) -> None:
    """Which stalls are closed on a day, by painted number, and when each opens again."""
    from tackfree.service.plan_board import stalls as service
    from tackfree.service.plan_board.sheet import sheet_of

    sheet = sheet_of(bundle)
    days = (service.stall_day(sheet, _day(date)),) if date else service.stall_days(sheet)
    if json:
        emit({"schema": "tackfree.plan-stalls/1", **service.document(sheet, days)})
        return
    for d in days:
        print(f"{d.day:%a %d %b}: " + "\n  ".join(service.lines(sheet, d, _lang(lang))))


def ahead(bundle: Built, date: On = "", lang: Language = "en", json: Json = False) -> None:
    """Three weeks from the week of a day: crews, closed stalls, limits with little room."""
    from tackfree.errors import NotFound
    from tackfree.service.plan_board import ahead as service
    from tackfree.service.plan_board.sheet import sheet_of

    sheet = sheet_of(bundle)
    if not date and not sheet.days:
        raise NotFound("there is no plan to look ahead in.", where="plan",
                       do="See: tackfree plan make.")  # fmt: skip
    view = service.look_ahead(sheet, _day(date) if date else sheet.days[0], _lang(lang))
    if json:
        emit({"schema": "tackfree.plan-ahead/1", **service.document(view)})
        return
    print(view.span)
    for d in (d for week in view.weeks for d in week if d.crews or d.limits):
        print(f"{d.name}  {d.stalls}".rstrip())
        for crew, steps in d.crews:
            print(f"  {crew}: {'; '.join(steps)}")
        for limit in d.limits:
            print(f"  ! {limit}")


def paper(
    bundle: Built, out: Out = None, date: On = "", lang: Language = "en",
    units: Units = None, json: Json = False,
) -> None:  # fmt: skip
    """Stall calendar and three weeks ahead as PDF, the workbook, each crew's calendar."""
    from tackfree.service.plan_board import faces
    from tackfree.service.plan_board.sheet import sheet_of
    from tackfree.service.save import write_atomic

    sheet = sheet_of(bundle)
    names = ["stalls.pdf", "ahead.pdf", "plan.xlsx"]
    names += [f"crew-{c.id}.ics" for c in sheet.problem.crews]
    letter = system(units) == "us"
    folder = out or Path()
    for name in names:
        data = faces.paper(sheet, name, day=_day(date) if date else None, language=_lang(lang),
                           letter=letter)  # fmt: skip
        write_atomic(folder / name, data)
    files = [str(folder / name) for name in names]
    if json:
        emit({"schema": "tackfree.plan-paper/1", "files": files})
        return
    print("\n".join(files))


def move(
    bundle: Bundle,
    step: Annotated[str, typer.Option("--step", help="Section and step, S01/BASE.")],
    to: Annotated[str, typer.Option("--to", help="When it begins, job time.")],
    crew: Annotated[str, typer.Option("--crew", help="Who does it.")],
    save: Annotated[bool, typer.Option("--save", help="Keep it in the bundle.")] = False,
    lang: Language = "en",
    json: Json = False,
) -> None:
    """What a step placed elsewhere breaks, by the independent checker; kept with --save."""
    from tackfree.cli.common import refuse
    from tackfree.service.plan_board import keep
    from tackfree.service.plan_board.moves import Move, faults_of, judge
    from tackfree.service.plan_board.sheet import sheet_of

    sheet = sheet_of(bundle)
    start = sheet.slot_of(_moment(to, sheet.zone, "--to"))
    judged = judge(sheet, (Move(task_id=step, start=start, crew_id=crew),))
    if judged.said:
        refuse(faults_of(judged, _lang(lang)), as_json=json)
        raise typer.Exit(1)
    if save:
        keep.save_moves(bundle, judged, language=_lang(lang))
    if json:
        emit({"schema": "tackfree.plan-move/1", "step": step, "saved": save, "faults": []})
        return
    print(f"{step}: every rule holds{'; saved' if save else ''}.")


def jobs(
    bundles: Annotated[
        list[Path], typer.Argument(help="Bundles, or folders of builds.", metavar="DIR...")
    ],
    at: Annotated[str, typer.Option("--at", help="From this moment on; the first job's time.")],
    lang: Language = "en",
    json: Json = False,
) -> None:
    """Several jobs by their next deadline, and every crew that two of them want at once."""
    from tackfree.service.plan_board import jobs as service
    from tackfree.service.plan_board.sheet import sheet_of

    sheets = service.together([sheet_of(b) for b in bundles])
    now = _moment(at, sheets[0].zone, "--at")
    if json:
        emit({"schema": "tackfree.plan-jobs/1", "deadlines": service.deadlines(sheets, now),
              "booked_twice": service.booked_twice(sheets)})  # fmt: skip
        return
    print(service.text(sheets, now, _lang(lang)))


def short(
    bundle: Built,
    date: On,
    crew: Annotated[str, typer.Option("--crew", help="The crew's id.")],
    short: Annotated[int, typer.Option("--short", help="How many people are missing.")],
    units: Units = None,
    lang: Language = "en",
    json: Json = False,
) -> None:
    """What a crew that is short of people still gets done of its day, and what to shrink."""
    from tackfree.service.plan_board import ask
    from tackfree.service.plan_board.sheet import sheet_of

    sheet = sheet_of(bundle)
    if json:
        rows = ask.short_crew(sheet, _day(date), crew, short)
        emit({"schema": "tackfree.plan-short/1", "steps": rows})
        return
    text = ask.short_text(sheet, _day(date), crew, short, language=_lang(lang), units=system(units))
    print(text)


def stop_line(
    bundle: Annotated[Path, typer.Argument(help="The folder a build wrote.", metavar="OUT")],
    date: On,
    by: Annotated[str, typer.Option("--by", help="When work stops, as 14:00.")],
    lang: Language = "en",
    json: Json = False,
) -> None:
    """The kit mark to end each coat on when work stops at a time."""
    from tackfree.service.plan_board import ask
    from tackfree.service.plan_board.sheet import built_sheet

    sheet, day = built_sheet(bundle), _day(date)
    at = _moment(f"{date}T{by}", sheet.zone, "--by").time()
    found = ask.stops(sheet, ask.layouts_of(bundle), day, at)
    if json:
        emit({"schema": "tackfree.plan-stop-line/1", "stops": found})
        return
    print(ask.stop_text(sheet, found, day, at, _lang(lang)))


def pace(
    bundle: Bundle,
    at: Annotated[str, typer.Option("--at", help="Now, job time.")],
    lang: Language = "en",
    json: Json = False,
) -> None:
    """Whether what the record holds is enough to meet the plan's finish, with a range."""
    from tackfree.service.plan_board import ask, earned

    sheet, now, found = earned.pace_of(bundle, lambda zone: _moment(at, zone, "--at"))
    if json:
        at_pace = None if found.at_pace is None else sheet.time_of(found.at_pace)
        finish = sheet.time_of(found.finish)
        emit(
            {"schema": "tackfree.plan-pace/1", "pace": found, "finish": finish, "at_pace": at_pace}
        )
        return
    print(ask.pace_text(sheet, found, now, _lang(lang)))


def _day(text: str) -> date:
    from datetime import date as day

    try:
        return day.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter("write a day as 2027-04-22", param_hint="--date") from None


def _moment(text: str, zone: ZoneInfo, where: str) -> datetime:
    from tackfree.service import report

    return report.moment(text, zone, where)


def _lang(text: str) -> str:
    from tackfree.cli.common import choice
    from tackfree.words import LANGUAGES

    return choice(text, LANGUAGES, "--lang")
