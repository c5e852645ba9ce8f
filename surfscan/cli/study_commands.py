"""Commands that work on a whole study. Nothing heavy is imported before one runs."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from surfscan.study.batch import BatchOutcome, Progress
    from surfscan.study.findings import Finding

Study = Annotated[Path, typer.Argument(metavar="STUDY", help="A study.toml, or the folder that holds it.")]
JsonOut = Annotated[
    Path | None, typer.Option("--json", help="Write what was done as JSON here; '-' for standard output.")
]
Workers = Annotated[
    int | None, typer.Option(min=1, help="Worker processes; by default one for each processor.")
]


def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Where to put the demo: a new or an empty folder.")
    ] = Path("surfscan-demo"),
    against_truth: Annotated[
        bool, typer.Option("--against-truth", help="Show measured beside true figures.")
    ] = False,
    workers: Workers = None,
) -> None:
    """Copy an invented study, measure it and report on it."""
    from surfscan.demo import against_truth as compared
    from surfscan.demo import copy_study

    study = copy_study(folder)
    print(f"Demo study (all data invented): {study}")
    outcome = _measure(study, workers)
    print(_said(outcome))
    _report(study)
    if against_truth:
        print(f"\n{compared(folder)}")
    if outcome.failed:
        raise typer.Exit(1)


def start(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of images, searched throughout.")],
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace a study.toml that is there.")
    ] = False,
) -> None:
    """Draft a study.toml from the names and metadata of images, and from sweeps and rig logs."""
    from surfscan.study.drafting import draft_study

    draft = draft_study(folder, overwrite=overwrite)
    print(f"Draft: {draft.path}")
    if draft.could_not_tell:
        print("Could not tell:")
        for line in draft.could_not_tell:
            print(f"  - {line}")
    print(f"Edit it, then: surfscan check {folder}")


def check(study: Study) -> None:
    """Find everything wrong with a study, before a long run."""
    from surfscan.study.check import check_study

    findings = check_study(study)
    for line in findings_lines(findings):
        print(line)
    errors = sum(finding.severity == "error" for finding in findings)
    warnings = len(findings) - errors
    print(f"{_counted(errors, 'error')}, {_counted(warnings, 'warning')}")
    if errors:
        raise typer.Exit(2)


def findings_lines(findings: Sequence[Finding]) -> list[str]:
    """A line for each error, and one for all warnings that say the same of different files.

    Parameters
    ----------
    findings : sequence of Finding

    Returns
    -------
    list of str
        In the order of the first of each; the other places stand at the end of the line.
    """
    alike: dict[tuple[str, ...], list[Finding]] = {}
    for number, finding in enumerate(findings):
        name, _, rest = finding.what.partition(" ")
        own = (str(number),) if finding.severity == "error" or "." not in name else ()
        alike.setdefault((finding.severity, rest, finding.remedy, *own), []).append(finding)
    lines = []
    for first, *others in alike.values():
        also = f" Also {', '.join(f.where for f in others)}." if others else ""
        lines.append(f"{first.severity}: {first}{also}")
    return lines


def measure(study: Study, workers: Workers = None, json: JsonOut = None) -> None:
    """Measure every image, sweep, weighing, gas reading and rig log of a study that is new or changed.

    Stop it whenever you like: what is measured is kept, and the next run goes on from there.
    """
    from surfscan.cli.output import write_text
    from surfscan.cli.result_json import plain_json

    outcome = _measure(study, workers)
    if json is None:
        print(_said(outcome))
    else:
        write_text(json, f"{plain_json(asdict(outcome))}\n")
    if outcome.failed:
        raise typer.Exit(1)


def summary(study: Study) -> None:
    """Print the essentials of a measured study: what matters first, then specimens, groups and rates."""
    from surfscan.cli.correction_text import correction_lines
    from surfscan.cli.essentials_text import essentials_lines
    from surfscan.cli.rate_text import rates_text
    from surfscan.cli.summary_text import study_text
    from surfscan.errors import InputError
    from surfscan.report.groups import summarise_groups
    from surfscan.report.rate_records import gather_rates
    from surfscan.report.records import gather
    from surfscan.report.specimens import summarise_specimens
    from surfscan.report.summary_content import summary_content
    from surfscan.report.summary_page import exposed_groups
    from surfscan.report.summary_page import summary as study_summary
    from surfscan.store.results import ResultsStore
    from surfscan.study.manifest import load_study, manifest_path
    from surfscan.study.reviewed import study_corrections

    loaded = load_study(study)
    stored = list(ResultsStore(loaded.folder).all())
    if not any(result.image_id in loaded.entry_ids for result in stored):
        raise InputError(
            manifest_path(study), "nothing has been measured yet", "Run surfscan measure on it first."
        )
    corrections = study_corrections(loaded)
    records, _ = gather(loaded, stored, corrections)
    specimens = summarise_specimens(loaded.specimens, records)
    groups = summarise_groups(loaded.groups, specimens)
    title, *tables = study_text(loaded.title, records, specimens, groups).splitlines()
    content = summary_content(loaded, records, gather_rates(loaded, stored), specimens, groups)
    said = essentials_lines(study_summary(content), content.comparison, exposed_groups(content))
    print("\n".join([title, "", *said, *tables]))
    for line in rates_text(loaded, {(r.image_id, r.procedure): r for r in stored}):
        print(line)
    for line in correction_lines(records, corrections.faults_said):
        print(line)


def report(
    study: Study,
    pdf: Annotated[
        bool,
        typer.Option(
            "--pdf", help="Print the page to report.pdf too, by an installed Chromium, Chrome or Edge."
        ),
    ] = False,
) -> None:
    """Write the tables and the page of a measured study."""
    for warning in _report(study, pdf):
        print(f"warning: {warning}", file=sys.stderr)


def _report(study: Path, pdf: bool = False) -> tuple[str, ...]:
    """Write the report, say where it is, and hand back its warnings."""
    from surfscan.report.build import write_report
    from surfscan.report.pdf import find_browser, print_pdf

    browser = find_browser() if pdf else None
    outcome = write_report(study)
    tables = sum(path.suffix == ".csv" for path in outcome.paths)
    folder = outcome.page.parent / "tables"
    print(f"{_counted(tables, 'table')}, each as CSV and Parquet, and a workbook: {folder}")
    print(f"Page: {outcome.page}")
    if outcome.truth_page:
        print(f"Measured against true: {outcome.truth_page}")
    if browser:
        paper = outcome.page.with_suffix(".pdf")
        print_pdf(outcome.page, paper, browser)
        print(f"On paper: {paper}")
    return outcome.warnings


def _measure(study: Path, workers: int | None) -> BatchOutcome:
    """Run the batch with a bar; warnings and failures go to standard error."""
    from surfscan.study.batch import measure_study

    try:
        with _progress_bar() as progress:
            outcome = measure_study(study, workers=workers, progress=progress)
    except KeyboardInterrupt:
        print("Stopped. What is measured is kept; run it again to go on.", file=sys.stderr)
        raise typer.Exit(130) from None
    for warning in outcome.warnings:
        print(f"warning: {warning}", file=sys.stderr)
    for image, message in outcome.failed:
        print(f"failed: {image}: {message}", file=sys.stderr)
    return outcome


def _said(outcome: BatchOutcome) -> str:
    parts = [f"{len(outcome.done)} measured", f"{len(outcome.skipped)} unchanged"]
    parts += [f"{len(outcome.failed)} failed"] if outcome.failed else []
    total = len(outcome.done) + len(outcome.skipped) + len(outcome.failed)
    images = total - outcome.other_entries
    counts = [_counted(images, "image")] if images else []
    if outcome.other_entries:
        counts.append(f"{outcome.other_entries} of sweeps, weighings, gas and logs")
    return f"{' and '.join(counts)}: {', '.join(parts)}"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


@contextmanager
def _progress_bar() -> Iterator[Progress]:
    """A bar on standard error, moved by the batch; only a line at the end where nobody watches."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True, highlight=False)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Bar(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("Measuring", total=None)

        def moved(
            finished: int, total: int, image_id: str, status: Literal["start", "done", "skipped", "failed"]
        ) -> None:
            bar.update(task, completed=finished, total=total)

        yield moved
