"""``film``: what readings and kits show of the film, and other tests."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tackfree.cli.common import Bundle, Json, Out, Units, choice, emit, system, talk

app = typer.Typer(no_args_is_help=True, help="What readings and kits show of the film.")
Section = Annotated[str | None, typer.Option("--section", help="Section id.")]
CoatId = Annotated[str | None, typer.Option("--coat", help="Coat id, BASE.")]
Least = Annotated[
    str | None,
    typer.Option("--least", help="Ask about this wet film alone, '23 mil'.", metavar="FILM"),
]
Now = Annotated[
    str | None,
    typer.Option("--now", help="Read the recoat clock at this job time.", metavar="TIME"),
]
Lang = Annotated[str, typer.Option("--lang", help="en or es.", metavar="en|es")]


@app.command("map", epilog="Try: tackfree film map my-deck --section P1-LANE-A-1 --coat BASE")
def map_(
    bundle: Bundle,
    section: Annotated[str, typer.Option("--section", help="Section id.")],
    coat: Annotated[str, typer.Option("--coat", help="Coat id, BASE.")],
    least: Least = None,
    lang: Lang = "en",
    out: Out = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """Draw where the film is shown, short, or not known; the contract's rule first."""
    from tackfree.service import evidence_words as words
    from tackfree.service import film_desk

    found = film_desk.ask(bundle, units, lang, section, coat, words.film_asked(least), None)
    (view,) = found.views
    file = words.write_map(view.study, out or Path(), found.system, lang, view.apart)
    if json:
        emit({"schema": "tackfree.film-map/1", "file": str(file), **film_desk.document(view)})
        return
    print(file)


@app.command("verdict", epilog="Try: tackfree film verdict my-deck --section P1-LANE-A-1")
def verdict(
    bundle: Bundle,
    section: Section = None,
    coat: CoatId = None,
    least: Least = None,
    now: Now = None,
    lang: Lang = "en",
    units: Units = None,
    json: Json = False,
) -> None:
    """SHOWN, SHORT or NOT SHOWN, patch by patch, and what to measure next."""
    from tackfree.service import evidence_words as words
    from tackfree.service import film_desk

    found = film_desk.ask(bundle, units, lang, section, coat, words.film_asked(least), now)
    if json:
        emit({"schema": "tackfree.film-verdict/1", **film_desk.documents(found)})
        return
    print(film_desk.text(found))


@app.command(
    "readings", epilog="Try: tackfree film readings my-deck --section P1-LANE-A-1 --coat BASE"
)
def readings(
    bundle: Bundle,
    section: Section = None,
    coat: CoatId = None,
    deck: Annotated[str | None, typer.Option("--deck", help="Deck id, without --section.")] = None,
    aim: Annotated[
        str | None,
        typer.Option(
            "--aim", help="Film the crew will leave, '27 mil'; else 5 % over.", metavar="FILM"
        ),
    ] = None,
    lang: Lang = "en",
    out: Out = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """How many readings would show the film by the contract, and where; without --section
    for every section of the job or deck."""
    from tackfree.service import evidence_words as words
    from tackfree.service import film_desk, film_plan
    from tackfree.service import film_plan_words as said
    from tackfree.words import LANGUAGES

    chosen = choice(lang, LANGUAGES, "--lang")
    made, record = film_desk.opened(bundle)
    shown = system(units, made.job.units)
    if section is None or coat is None:
        if section is not None or aim is not None:
            raise typer.BadParameter("name --section and --coat together, with --aim or without")
        every = film_plan.plan_sections(made, record, deck=deck, coat=coat)
        if json:
            rows = [said.document(n) for n in every]
            emit({"schema": "tackfree.film-readings-job/1", "sections": rows})
            return
        print(said.sections_text(every, shown, chosen))
        return
    aim_um = words.film_asked(aim)
    found = film_plan.plan_readings(made, section, coat, aim_um=aim_um, record=record)
    if out:
        for path in said.write_pictures(found, out, shown, chosen):
            talk(f"Wrote {path}")
    if json:
        emit({"schema": "tackfree.film-readings/1", **said.document(found)})
        return
    print(said.text(found, shown, chosen))


@app.command("tests", epilog="Try: tackfree film tests my-deck")
def proofs(
    bundle: Bundle,
    section: Section = None,
    lang: Lang = "en",
    units: Units = None,
    json: Json = False,
) -> None:
    """Bond, moisture, flood and slip by the specification; where more pulls bound a weak place."""
    from tackfree.service import acceptance, film_tests
    from tackfree.service.pipeline import Pipeline
    from tackfree.words import LANGUAGES

    chosen = choice(lang, LANGUAGES, "--lang")
    made = Pipeline.of(bundle)
    found = acceptance.judge_sections(made, acceptance.record_of_tests(bundle), section)
    if json:
        emit({"schema": "tackfree.film-tests/1", **film_tests.document(made, found)})
        return
    shown = system(units, made.job.units)
    views = film_tests.told(made, found, shown, chosen)
    zones = film_tests.zone_lines(film_tests.by_zone(made, found), shown, chosen)
    print(film_tests.text(views, chosen, zones))


@app.command("figure", epilog="Try: tackfree film figure my-deck --section P1-LANE-A-1 --out out")
def figure(
    bundle: Bundle,
    section: Section = None,
    coat: CoatId = None,
    lang: Lang = "en",
    out: Out = None,
    units: Units = None,
    json: Json = False,
) -> None:
    """The closeout's figure as PDF: map, verdicts, readings and their sources."""
    from tackfree.service import film_desk

    found = film_desk.ask(bundle, units, lang, section, coat, None, None)
    files = film_desk.write_figures(found, out or Path())
    if json:
        emit({"schema": "tackfree.film-figure/1", "files": [str(f) for f in files]})
        return
    for file in files:
        print(file)
