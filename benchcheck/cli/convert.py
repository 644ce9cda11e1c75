"""`benchcheck convert`: a recording in another form, and what the form can't hold, told before it is written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.words.errors import ExitCode, InputError

if TYPE_CHECKING:
    from benchcheck.capture.log_losses import Loss

SCHEMA = "benchcheck.convert/1"


@click.command(
    epilog="""\b
Examples:
  benchcheck convert drive.blf drive.pcapng
  benchcheck convert captures/launch_good.pcapng launch.log
  benchcheck convert captures/launch_good.pcapng launch.csv --dry-run --json

\b
Exit codes: 0 written (or, with --dry-run, told), 2 bad input, or TO is there already."""
)
@click.argument("source", metavar="FROM", type=click.Path(path_type=Path))
@click.argument("target", metavar="TO", type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Only tell what would be lost; write nothing.")
@click.option("--replace", is_flag=True, help="Replace a file that is there.")
@output_options
def command(source: Path, target: Path, dry_run: bool, replace: bool, as_json: bool, plain: bool) -> int:
    """Write the recording FROM in the form of TO, which is told by its suffix.

    FROM is anything that `benchcheck survey` reads. TO is a capture (.pcapng) or a log that python-can writes
    (.asc .blf .csv .db .log .trc .txt; .asc .csv .log .txt with .gz behind, too). What the form of TO can't hold is
    counted and said before anything is written.
    """
    from benchcheck.capture.export import export, export_form
    from benchcheck.capture.log_losses import look_through, losses
    from benchcheck.capture.logs import open_recording
    from benchcheck.capture.parts import parts_of
    from benchcheck.cli.survey_text import escaped

    sources = parts_of(source) or [source]
    if target.exists() and any(part.exists() and target.samefile(part) for part in sources):
        raise InputError("is both the recording and where it should go", where=str(target), hint="Name a new file.")
    form = export_form(target, replace=replace or dry_run)
    with open_recording(source) as recording:
        contents = look_through(recording)
    lost = losses(contents, form)
    for loss in lost:
        say(f"{'would be lost' if dry_run else 'lost'}: {_text(loss)}")
    written = 0
    if not dry_run:
        with open_recording(source) as again:
            written = export(again, contents, target, replace=replace)
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "from": str(source),
                "to": str(target),
                "form": form,
                "written": not dry_run,
                "frames": contents.frames,
                "frames_written": written,
                "losses": [
                    {"feature": loss.feature, "count": loss.count, "what": loss.what, "becomes": loss.becomes}
                    for loss in lost
                ],
                "bad_records": recording.bad_records,
                "skipped_lines": recording.skipped_lines,
                "truncated": recording.truncated,
                "notes": recording.notes,
            }
        )
    else:
        _say_source(recording.bad_records, recording.notes)
        if dry_run:
            click.echo(f"{contents.frames:,} frames; nothing was written.")
        else:
            click.echo(f"{written:,} of {contents.frames:,} frames. Written: {escaped(str(target))}.")
    return ExitCode.PASS


def _text(loss: Loss) -> str:
    return f"{loss.what} ({loss.count:,}): {loss.becomes}"


def _say_source(bad_records: int, notes: list[str]) -> None:
    from benchcheck.cli.survey_text import escaped

    if bad_records:
        say(f"warning: {bad_records:,} bad records of the source were passed over")
    for note in notes:
        say(f"note: {escaped(note)}")
