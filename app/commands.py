"""The commands that need no window: import, check, schedule, rack. Same code as the window's. Imports no Qt.

Exit status: 0 done, 1 findings above a note stand, 2 refused (one sentence on stderr), 3 our fault.
With --json, stdout holds JSON and nothing else. DEVELOPERS.md describes what; it is a contract.
"""

import argparse
import ctypes
import io
import json
import os
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, get_args

from geometry.errors import BodyFileError, GeometryError, LayoutFileError
from geometry.layout import Axis, Layout, LengthUnit
from geometry.progress import no_progress

if TYPE_CHECKING:
    from app.units import Units
    from geometry.body.scan import Reading, Scan
    from geometry.checks.findings import Report

DONE, FINDINGS_STAND, REFUSED, OUR_FAULT = 0, 1, 2, 3
INTERRUPTED = 130
NAMES = ("import", "check", "schedule", "rack")


class Refusal(Exception):
    """A command that cannot be carried out; the message is a sentence for the person."""


class Parser(argparse.ArgumentParser):
    """Refuses in one sentence, without the usage text."""

    def error(self, message: str) -> NoReturn:
        raise Refusal(f"{message[:1].upper()}{message[1:]}. {self.prog} --help says how to write it.")


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status."""
    return guarded(lambda: _run(arguments))


def guarded(work: Callable[[], int]) -> int:
    """Turn every exception into a sentence on stderr and an exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that knows no ▲ still gets the sentence
            stream.reconfigure(errors="replace")
    try:
        return work()
    except (Refusal, GeometryError, BodyFileError, LayoutFileError) as error:
        return _told(str(error), REFUSED)
    except BrokenPipeError:  # whoever read our output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        return _told(f"{where}{error.strerror or error}.", REFUSED)
    except KeyboardInterrupt:
        return _told("Stopped.", INTERRUPTED)
    except Exception:
        return _told(
            f"Something in the program went wrong; the fault is ours. What helps to mend it: {_noted()}",
            OUR_FAULT,
        )


def _run(arguments: Sequence[str]) -> int:
    chosen = _parser().parse_args(_with_signs_joined(arguments))
    work: Callable[[argparse.Namespace], tuple[int, Any, list[str]]] = chosen.work
    if not getattr(chosen, "json", False):
        status, _, lines = work(chosen)
        print("\n".join(lines))
    else:
        with _stdout_kept_clean():
            status, value, _ = work(chosen)
        print(json.dumps(value, indent=1, allow_nan=False))
    sys.stdout.flush()
    return status


def _parser() -> Parser:
    parser = Parser(prog="outrib", description="Commands that need no window.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    bring = commands.add_parser("import", help="make a job from a mesh file, or add the mesh to one")
    bring.add_argument("mesh", metavar="MESH", type=Path, help="STL, OBJ, PLY, OFF, GLB, glTF or 3MF")
    bring.add_argument(
        "-o", dest="job", metavar="JOB", type=Path, required=True, help="the .outrib file to write"
    )
    bring.add_argument("--unit", choices=get_args(LengthUnit), help="what one unit of the file is")
    bring.add_argument("--up", choices=get_args(Axis), help="the file's axis that points up")
    bring.add_argument("--forward", choices=get_args(Axis), help="the file's axis that points forward")
    existing = bring.add_mutually_exclusive_group()
    existing.add_argument("--replace", action="store_true", help="write over a job that is there")
    existing.add_argument("--add", action="store_true", help="add the mesh to the job that is there")
    bring.set_defaults(work=bring_in)
    check = commands.add_parser("check", help="say what the checks find")
    check.add_argument("job", metavar="JOB", type=Path)
    check.set_defaults(work=check_job)
    for command in (bring, check):
        command.add_argument("--json", action="store_true", help="print JSON instead of sentences")
    take = commands.add_parser("schedule", help="write the packet for the shop into a folder")
    take.add_argument("job", metavar="JOB", type=Path)
    take.add_argument("-o", dest="folder", metavar="FOLDER", type=Path, required=True)
    take.add_argument("--units", choices=("mm", "in", "in-fraction"), default="mm")
    take.add_argument("--paper", choices=("A4", "letter"), default="A4")
    take.set_defaults(work=write_packet)
    shop = commands.add_parser("rack", help="write a job's rack into a file, or bring a file into it")
    shop.add_argument("job", metavar="JOB", type=Path)
    way = shop.add_mutually_exclusive_group(required=True)
    way.add_argument("-o", dest="into", metavar="FILE", type=Path, help=".json: all of it; .csv: one part")
    way.add_argument("--from", dest="source", metavar="FILE", type=Path, help="the rack file to bring in")
    shop.add_argument("--part", choices=("stock", "dies"), help="what a .csv holds")
    shop.add_argument("--replace", action="store_true", help="write over a file that is there")
    shop.set_defaults(work=carry_rack)
    return parser


# import


def bring_in(chosen: argparse.Namespace) -> tuple[int, Any, list[str]]:
    """Read a mesh into a new or an existing job."""
    from geometry.body import scan
    from geometry.files import job

    layout = _layout_to_fill(chosen)
    found = scan.read(chosen.mesh)
    reading = scan.judge(found, unit=chosen.unit, up=chosen.up, forward=chosen.forward)
    layout, _, panels = scan.add_to(layout, found, reading)
    job.save(layout, chosen.job)
    value = _import_json(layout, panels, found, reading)
    return DONE, value, _import_lines(value, chosen.job)


def _layout_to_fill(chosen: argparse.Namespace) -> Layout:
    """Return the job the mesh goes into; refuse to write over one that nobody spoke of."""
    from geometry import rack
    from geometry.files import job

    path: Path = chosen.job
    if path.exists() and chosen.mesh.exists() and path.samefile(chosen.mesh):
        raise Refusal(f"{path} is the mesh itself. Give the job another name after -o.")
    if chosen.add:
        return job.load(path)
    if path.exists() and not chosen.replace:
        raise Refusal(
            f"{path} is there already. Add --replace to write over it, or --add to add the body to that job."
        )
    return rack.with_starting_rack(Layout(name=path.stem))


def _import_json(layout: Layout, panels: Sequence[int], found: "Scan", reading: "Reading") -> dict[str, Any]:
    from msgspec import to_builtins

    length, width, height = reading.size
    return {
        "panels": [
            {
                "name": layout.panels[id].name,
                "triangles": len(layout.panels[id].mesh.triangles),
                "kept": layout.panels[id].kept,
            }
            for id in panels
        ],
        "size_mm": {"length": length, "width": width, "height": height},
        "unit": {"value": reading.unit, "guessed": reading.unit_guessed},
        "up": {"value": reading.up, "guessed": reading.up_guessed},
        "forward": {"value": reading.forward, "guessed": reading.forward_guessed},
        "front_axle_mm": {"value": reading.front_axle, "guessed": reading.front_axle_guessed},
        "cleaned": to_builtins(found.cleaned),
        "warnings": [*found.warnings, *reading.warnings],
    }


def _import_lines(value: dict[str, Any], path: Path) -> list[str]:
    def read_as(name: str) -> str:
        return f"{value[name]['value']}{' (guessed)' if value[name]['guessed'] else ''}"

    size = value["size_mm"]
    cleaned = [f"{count} {name.replace('_', ' ')}" for name, count in value["cleaned"].items() if count]
    return [
        f"{size['length']:.0f} mm long, {size['width']:.0f} mm wide, {size['height']:.0f} mm high; "
        f"unit {read_as('unit')}, up {read_as('up')}, forward {read_as('forward')}.",
        *(f"Panel {panel['name']}: {panel['triangles']} triangles." for panel in value["panels"]),
        f"Cleaned: {', '.join(cleaned) or 'nothing'}.",
        *value["warnings"],
        f"Saved as {path}.",
    ]


# check


def check_job(chosen: argparse.Namespace) -> tuple[int, Any, list[str]]:
    """Judge a whole job."""
    from app import wording
    from app.export import json_file
    from app.units import MILLIMETRES
    from geometry import zoning
    from geometry.checks import findings, groups
    from geometry.files import job

    layout = job.load(chosen.job)
    report = findings.check_layout(layout)
    value = {
        "clearances": [json_file.clearance_row(row, layout) for row in report.clearances],
        "ties": [json_file.tie_row(group, layout) for group in groups.groups(layout) if group.ties],
        "tyres": [json_file.tyre_row(row, layout) for row in report.tyres],
        "tyres_and_panels": [json_file.bite_row(bite, layout) for bite in report.bites],
        "doors": [json_file.touch_row(touch, layout) for touch in report.touches],
        "zones": [json_file.zone_row(row, layout) for row in report.zones],
        "limits": [json_file.limit_row(row, layout) for row in report.limits],
        "zones_unset": list(zoning.unset(layout)),
        "measures": [json_file.measure_row(measure, layout) for measure in layout.measures.values()],
        "sizes": json_file.sizes_row(layout),
        "findings": [json_file.finding_row(finding, layout) for finding in report.findings],
    }
    lines = [wording.say_with_sign(finding, layout, MILLIMETRES) for finding in report.findings]
    return _status(report), value, [*lines, wording.report_summary(report, layout)]


def _status(report: "Report") -> int:
    stands = any(finding.severity != "note" for finding in report.findings)
    return FINDINGS_STAND if stands else DONE


# schedule


def write_packet(chosen: argparse.Namespace) -> tuple[int, Any, list[str]]:
    """Write every sheet of a job; findings that stand are on the cover."""
    from app import cover, wording
    from app.export import packet
    from geometry.checks import findings
    from geometry.files import job

    layout = job.load(chosen.job)
    if not layout.tubes:
        raise Refusal(f"{chosen.job.name} has no tube yet, so there is nothing to write. Lay a tube first.")
    report = findings.check_layout(layout)
    units = _units(chosen.units)
    drawn = cover.picture(layout, no_progress)
    paths = packet.write_packet(layout, report, chosen.folder, units, chosen.paper, picture=drawn)
    lines = [*map(str, paths), wording.report_summary(report, layout, units)]
    return _status(report), None, lines


def _units(name: str) -> "Units":
    from app import units

    return {"mm": units.MILLIMETRES, "in": units.INCHES, "in-fraction": units.INCH_FRACTIONS}[name]


# rack


def carry_rack(chosen: argparse.Namespace) -> tuple[int, Any, list[str]]:
    """Write the rack of a job into a file, or bring a file into its rack."""
    from geometry.files import job, rack_file

    layout = job.load(chosen.job)
    if chosen.source is not None:
        layout, arrived = rack_file.merged(layout, rack_file.load(chosen.source))
        if not arrived.is_nothing:
            job.save(layout, chosen.job)
        return DONE, None, [rack_file.told(arrived)]
    path: Path = chosen.into
    if path.exists() and not chosen.replace:
        raise Refusal(f"{path} is there already. Add --replace to write over it.")
    if path.suffix.lower() not in (".json", ".csv"):
        raise Refusal(f"{path.name} must end in .json for the whole rack, or in .csv for a part of it.")
    if path.suffix.lower() == ".csv" and chosen.part is None:
        raise Refusal("A .csv holds one kind of thing. Add --part stock or --part dies.")
    rack_file.save(layout, path, chosen.part)
    return DONE, None, [f"Saved as {path}."]


# Around a command


def _with_signs_joined(arguments: Sequence[str]) -> list[str]:
    """Write `--up -y` as `--up=-y`: argparse would take -y for an option."""
    joined: list[str] = []
    for argument in arguments:
        if argument in get_args(Axis) and joined and joined[-1] in ("--up", "--forward"):
            joined[-1] += f"={argument}"
        else:
            joined.append(argument)
    return joined


@contextmanager
def _stdout_kept_clean() -> Iterator[None]:
    """Send what libraries print meanwhile to stderr, also what they print from C."""
    sys.stdout.flush()
    kept = os.dup(1)
    os.dup2(2, 1)
    try:
        with redirect_stdout(sys.stderr):
            yield
    finally:
        if os.name == "posix":
            ctypes.CDLL(None).fflush(None)
        os.dup2(kept, 1)
        os.close(kept)


def _told(sentence: str, status: int) -> int:
    print(" ".join(sentence.split()), file=sys.stderr)
    return status


def _noted() -> Path:
    """Write down the exception that is being handled; return where."""
    with tempfile.NamedTemporaryFile(
        "w", prefix="outrib-fault-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        file.write(" ".join(sys.argv) + "\n\n" + traceback.format_exc())
    return Path(file.name)
