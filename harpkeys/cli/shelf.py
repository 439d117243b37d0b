"""`harpkeys shelf`: which scores of a folder go on which harps."""

from __future__ import annotations

import sys
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harpkeys.cli.options import CoresOption, LeversOption, PlayerOption, TempoScaleOption

if TYPE_CHECKING:
    from harpkeys.shelf.model import Instrument, Row, Shelf, Terms
    from harpkeys.shelf.pools import DaskPool, LocalPool

FolderArgument = Annotated[
    Path,
    typer.Argument(
        help="A folder; every .musicxml, .xml and .mxl file in it and in its folders is vetted.",
        metavar="FOLDER",
    ),
]
HarpsOption = Annotated[
    list[str] | None,
    typer.Option("--harp", help="A harp, as vet takes it; may be given again.", metavar="HARP"),
]
TuningsOption = Annotated[
    list[str] | None,
    typer.Option(
        "--tuning",
        help="A tuning to vet each harp in; may be given again. Its own where none is given.",
        metavar="KEY",
    ),
]
PartOption = Annotated[
    str | None,
    typer.Option(
        help='Part to plan for in every score, by name, id or number; "P1+P2" joins two.', metavar="PART"
    ),
]
ElsePartOption = Annotated[
    str | None,
    typer.Option(
        help="Part to plan for where a score does not tell which is the harp's, or has not the part that "
        "--part names.",
        metavar="PART",
    ),
]
ResultsOption = Annotated[
    Path | None,
    typer.Option(
        help="Keep the rows in this file, one line of JSON each, as they finish; a later run goes on where "
        "this one ends, and vets again only what has changed.",
        metavar="FILE",
    ),
]
OnlyOption = Annotated[
    list[str] | None,
    typer.Option(
        help='Only what goes so: "as set", "with flips", "with cuts", "not as written", "playable" (nothing '
        'is lost) or "not vetted", and on which harp: "as set on 26". May be given again; a file then has '
        "to satisfy each.",
        metavar="VERDICT",
    ),
]
FlipsOption = Annotated[
    int | None, typer.Option(help="Only what loses nothing and has no more flips.", min=0, metavar="NUMBER")
]
SortOption = Annotated[
    str | None,
    typer.Option(
        help="Sort by file, title, ease (the criteria of the plan), flips, lost, up (levers raised at the "
        "start), notes or tempo; the table by file where not given.",
        metavar="ORDER",
    ),
]
ReverseOption = Annotated[bool, typer.Option("--reverse", help="Sort the other way round.")]
RowsOption = Annotated[
    int | None, typer.Option(help="How many files to show in the table.", min=1, metavar="NUMBER")
]
LinesOption = Annotated[
    bool, typer.Option("--json", help="Print a line of JSON for each row as it finishes, instead of a table.")
]
CsvOption = Annotated[
    bool, typer.Option("--csv", help="Print a line of CSV for each row as it finishes, instead of a table.")
]
EffortOption = Annotated[
    int | None,
    typer.Option(
        help="Work limit of the planner for every plan. Where not given, the first plan found counts (as "
        "with 0), and vet's own limit where that leaves the verdict open and loses few notes.",
        metavar="NUMBER",
        min=0,
    ),
]
DaskOption = Annotated[
    str | None,
    typer.Option(
        "--dask",
        help="Hand the work to the Dask cluster with this scheduler, whose workers see the same files.",
        metavar="ADDRESS",
    ),
]


def command(
    folder: FolderArgument,
    harp: HarpsOption = None,
    tuning: TuningsOption = None,
    levers: LeversOption = None,
    player: PlayerOption = None,
    part: PartOption = None,
    else_part: ElsePartOption = None,
    tempo_scale: TempoScaleOption = None,
    effort: EffortOption = None,
    results: ResultsOption = None,
    only: OnlyOption = None,
    most_flips: FlipsOption = None,
    sort: SortOption = None,
    reverse: ReverseOption = False,
    rows: RowsOption = None,
    cores: CoresOption = None,
    dask: DaskOption = None,
    as_json: LinesOption = False,
    as_csv: CsvOption = False,
) -> str:
    """Vets every score of a folder on one or several harps.

    A file that cannot be vetted is a row with its reason. With --results an interrupted run goes on where it
    stopped. JSON and CSV come as files finish, or sorted at the end where --sort says how.
    """
    from harpkeys.cli import shelf_view as view
    from harpkeys.cli.terminal import is_styled, rendered, show
    from harpkeys.errors import OptionError
    from harpkeys.score.texts import plain_text
    from harpkeys.shelf import sift
    from harpkeys.shelf.finding import find_books
    from harpkeys.shelf.model import Shelf
    from harpkeys.shelf.results import row_line

    if as_json and as_csv:
        raise OptionError("--json and --csv both say how to print", "leave out one of them")
    named = chosen_instruments(harp or [], tuning or [], levers, player)
    names = sift.names_of(named)
    conditions = [sift.condition_of(text, names) for text in only or []]
    order = sort or "file"
    sift.in_order([], order)  # a mistake in it must not wait until all is done
    instruments = tuple(instrument for _, instrument in named)
    shelf = Shelf(find_books(folder), instruments, chosen_terms(part, else_part, tempo_scale, effort))

    def lines(rows: Sequence[Row]) -> str:
        return "".join(map(row_line, rows)) if as_json else view.csv_rows(rows)

    streams = (as_json or as_csv) and sort is None and not reverse
    every: list[Sequence[Row]] = []
    if as_csv and not show(view.csv_header()):
        return ""
    with (
        closing(_vetted(shelf, results, cores, dask, quiet=streams)) as files,
        _said_when_stopped(every, len(shelf.books), results),
    ):
        for found in files:
            every.append(found)
            if streams and not show(lines(sift.kept(found, conditions, most_flips))):
                return ""
    if streams:
        return ""
    every.sort(key=lambda found: found[0].file)
    wanted = [some for found in every if (some := sift.kept(found, conditions, most_flips))]
    shown = sift.in_order(wanted, order, reverse=reverse)
    if as_json or as_csv:
        return "".join(lines(found) for found in shown)
    text = view.shelf_lines(
        plain_text(str(folder)),
        every,
        shown,
        [instrument.label for instrument in instruments],
        view.ROWS if rows is None else rows,
        sifted=bool(conditions) or most_flips is not None,
    )
    return rendered(text, styled=is_styled())


def _vetted(
    shelf: Shelf, results: Path | None, cores: int | None, dask: str | None, *, quiet: bool
) -> Generator[Sequence[Row]]:
    """The rows of each file as it finishes, kept in the results file if there is one.

    Args:
        shelf: what is vetted, on what and how.
        results: the results file.
        cores: processes on this machine, None for one on each core.
        dask: address of a Dask cluster that does the work instead.
        quiet: whether standard output is written to meanwhile, so that a bar on the same terminal would be
            in the way.

    Raises:
        FileError: the results file cannot be read or written.
        OptionError: the cluster cannot be reached.
    """
    from contextlib import ExitStack

    from harpkeys.shelf.results import ResultsFile, known_rows
    from harpkeys.shelf.shelf import vet_shelf

    known = {} if results is None else known_rows(results)
    total = len(shelf.books)
    with ExitStack() as opened:
        file = None if results is None else opened.enter_context(ResultsFile(results))
        pool = _pool(cores, dask)
        opened.enter_context(pool)
        bar = opened.enter_context(
            typer.progressbar(
                length=total,
                label=f"Vetting {total} files",
                show_pos=True,
                hidden=not sys.stderr.isatty() or (quiet and sys.stdout.isatty()),
                file=sys.stderr,
            )
        )
        for vetted in vet_shelf(shelf, pool.start(), in_flight=pool.in_flight, renew=pool.start, known=known):
            if file is not None:
                file.add(vetted.fresh)
            bar.update(1)
            yield vetted.rows


@contextmanager
def _said_when_stopped(every: Sequence[object], total: int, results: Path | None) -> Iterator[None]:
    """Say how far the work is where the user stops it."""
    from harpkeys.cli.terminal import complain

    try:
        yield
    except KeyboardInterrupt:
        kept = f"they are kept in {results}" if results is not None else "--results would have kept them"
        complain(f"Stopped after {len(every)} of {total} files; {kept}.")
        raise


def _pool(cores: int | None, dask: str | None) -> LocalPool | DaskPool:
    """Who does the work.

    Raises:
        OptionError: both a number of cores and a cluster are asked for, or the cluster does not answer.
    """
    import os

    from harpkeys.errors import OptionError
    from harpkeys.shelf.pools import DaskPool, LocalPool

    if dask is None:
        return LocalPool(cores or os.cpu_count() or 1)
    if cores is not None:
        raise OptionError("--cores and --dask both say who does the work", "leave out one of them")
    return DaskPool(dask)


def chosen_instruments(
    harps: list[str], tunings: list[str], levers: str | None, player: str | None
) -> list[tuple[str, Instrument]]:
    """Harps in tunings, each with what was typed for it.

    Raises:
        HarpError: a harp or tuning cannot be read.
        FileError: a harp file cannot be read.
        OptionError: there is no such player.
    """
    from harpkeys.cli.options import chosen_harp, chosen_player
    from harpkeys.cli.programme import in_tuning
    from harpkeys.cli.programme_view import named_in_tuning
    from harpkeys.harp.builtin import DEFAULT_HARP
    from harpkeys.shelf.model import Instrument

    found: list[tuple[str, Instrument]] = []
    for name in harps or [DEFAULT_HARP]:
        choice = chosen_harp(name, None, levers, None, None)
        who = chosen_player(player, choice)
        for harp in [in_tuning(choice.harp, tuning) for tuning in tunings] or [choice.harp]:
            others = [other for _, other in found]
            if any(other.harp.strings == harp.strings and other.player == who for other in others):
                continue
            label = named_in_tuning(harp)
            again = sum(other.label == label or other.label.startswith(f"{label} (") for other in others)
            found.append((name, Instrument(f"{label} ({again + 1})" if again else label, harp, who)))
    return found


def chosen_terms(
    part: str | None, else_part: str | None, tempo_scale: str | None, effort: int | None
) -> Terms:
    """What holds for every file.

    Raises:
        OptionError: the tempo cannot be so.
    """
    from fractions import Fraction

    from harpkeys.cli.options import positive_number
    from harpkeys.shelf.model import Terms

    scale = positive_number(tempo_scale, "--tempo-scale", "0.8", 100) or Fraction(1)
    return Terms(part, else_part, scale, effort)
