"""The commands as scripts see them: exit status, JSON on stdout, one sentence on stderr."""

import csv
import json
import math
import os
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app import __main__ as start
from app import commands
from geometry import axles, edits, fixing, hinges, rack, references, sample, zoning
from geometry.aids import BoxShape
from geometry.body import tyres
from geometry.files import job
from geometry.layout import Die, Layout
from geometry.tube import stock

REPO = Path(__file__).resolve().parents[2]


def outrib(*arguments: object, **variables: str) -> subprocess.CompletedProcess[str]:
    """Run the program itself, from the repository, without a screen."""
    kept = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "WAYLAND_DISPLAY")}
    kept.pop("QT_QPA_PLATFORM", None)
    command = [sys.executable, "-m", "app", *map(str, arguments)]
    return subprocess.run(
        command, cwd=REPO, env=kept | variables, capture_output=True, text=True, check=False, timeout=50
    )


def one_sentence(text: str) -> str:
    """Return what stderr says, after seeing that it is one line that ends like a sentence."""
    assert text.count("\n") == 1, text
    assert text.endswith(".\n"), text
    assert "Traceback" not in text
    return text.strip()


@pytest.fixture
def car(tmp_path: Path) -> Path:
    """A box 3.6 m long, 1.6 m wide and 1.2 m high as OBJ in mm: up is z, forward is x."""
    corners = [(x, y, z) for x in (-2900, 700) for y in (-800, 800) for z in (0, 1200)]
    faces = [(1, 2, 4, 3), (5, 7, 8, 6), (1, 5, 6, 2), (3, 4, 8, 7), (1, 3, 7, 5), (2, 6, 8, 4)]
    lines = ["o shell", *(f"v {x} {y} {z}" for x, y, z in corners)]
    lines += [f"f {a} {b} {c}\nf {a} {c} {d}" for a, b, c, d in faces]
    path = tmp_path / "box.obj"
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def body(car: Path, tmp_path: Path) -> Path:
    """The box as a job."""
    path = tmp_path / "box.outrib"
    assert commands.run(["import", str(car), "-o", str(path), *READ_AS]) == 0
    return path


READ_AS = ("--unit", "mm", "--up", "+z", "--forward", "+x")
SIDE = 800.0


def with_tube(path: Path, gap: float, radius_in: float = 0.75) -> Path:
    """Add a bent tube along the left side and up, its surface at a gap from the box."""
    layout = job.load(path)
    size = next(id for id, one in layout.stocks.items() if math.isclose(one.od, 2 * radius_in * 25.4))
    y = SIDE + gap + radius_in * 25.4
    points: Any = [(0.0, y, 100.0), (0.0, y, 1000.0), (-1500.0, y, 1000.0)]
    layout, _ = edits.add_tube(layout, points, size)
    caged = path.with_name("caged.outrib")
    job.save(layout, caged)
    return caged


# import


def test_import_says_what_was_read_and_what_was_guessed(car: Path, tmp_path: Path, capfd: Any) -> None:
    status = commands.run(["import", str(car), "-o", str(tmp_path / "a.outrib"), "--unit", "cm", "--json"])
    out, err = capfd.readouterr()
    value = json.loads(out)
    assert status == 0
    assert err == ""
    assert value["panels"] == [{"name": "shell", "triangles": 12, "kept": True}]
    assert value["size_mm"] == pytest.approx({"length": 36000, "width": 16000, "height": 12000})
    assert value["unit"] == {"value": "cm", "guessed": False}
    assert value["up"]["guessed"]
    assert value["forward"]["guessed"]
    assert value["cleaned"]["duplicate_faces"] == 0
    assert value["cleaned"]["collapsed_faces"] == 0
    assert isinstance(value["warnings"], list)


def test_import_makes_a_job_with_a_rack_and_the_body_on_the_ground(body: Path) -> None:
    layout = job.load(body)
    assert layout.name == "box"
    usual = rack.with_starting_rack(Layout())
    assert (layout.stocks, layout.dies, layout.benders) == (usual.stocks, usual.dies, usual.benders)
    assert [panel.name for panel in layout.panels.values()] == ["shell"]
    assert {(one.unit, one.up, one.forward) for one in layout.bodies.values()} == {("mm", "+z", "+x")}


def test_axes_with_a_minus_are_values_not_options(car: Path, tmp_path: Path, capfd: Any) -> None:
    path = tmp_path / "a.outrib"
    assert commands.run(["import", str(car), "-o", str(path), "--up", "-z", "--forward", "-x", "--json"]) == 0
    value = json.loads(capfd.readouterr().out)
    assert value["up"] == {"value": "-z", "guessed": False}
    assert value["forward"] == {"value": "-x", "guessed": False}


def test_import_writes_over_a_job_only_when_told_to(car: Path, body: Path, capfd: Any) -> None:
    before = body.read_bytes()
    capfd.readouterr()
    assert commands.run(["import", str(car), "-o", str(body)]) == 2
    assert "--replace" in one_sentence(capfd.readouterr().err)
    assert body.read_bytes() == before
    assert commands.run(["import", str(car), "-o", str(body), "--replace", *READ_AS]) == 0
    assert body.read_bytes() == before


def test_the_mesh_is_never_written_over(car: Path, capfd: Any) -> None:
    before = car.read_bytes()
    assert commands.run(["import", str(car), "-o", str(car), "--replace"]) == 2
    assert "is the mesh itself" in one_sentence(capfd.readouterr().err)
    assert car.read_bytes() == before


def test_a_terminal_without_our_signs_still_gets_the_sentence(body: Path) -> None:
    done = outrib("check", with_tube(body, 15.0), PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.returncode == 1
    assert "? T1 passes 15.0 mm from shell" in done.stdout


def test_a_packet_goes_into_no_file(body: Path, capfd: Any) -> None:
    capfd.readouterr()
    caged = with_tube(body, 25.0)
    assert commands.run(["schedule", str(caged), "-o", str(body)]) == 2
    assert str(body) in one_sentence(capfd.readouterr().err)


def test_add_keeps_what_the_job_holds(car: Path, body: Path) -> None:
    caged = with_tube(body, 30.0)
    before = job.load(caged)
    assert commands.run(["import", str(car), "-o", str(caged), "--add", *READ_AS]) == 0
    after = job.load(caged)
    assert after.nodes == before.nodes
    assert after.tubes == before.tubes
    assert len(after.bodies) == 2
    assert [panel.name for panel in after.panels.values()] == ["shell", "shell 2"]


def test_add_to_a_job_that_is_not_there_is_refused(car: Path, tmp_path: Path, capfd: Any) -> None:
    assert commands.run(["import", str(car), "-o", str(tmp_path / "none.outrib"), "--add"]) == 2
    assert "There is no job at" in capfd.readouterr().err
    assert not (tmp_path / "none.outrib").exists()


@pytest.mark.parametrize("content", [b"", b"solid nothing\nendsolid nothing\n", b"\0" * 84])
def test_a_mesh_that_is_none_is_refused_in_one_sentence(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "bad.stl").write_bytes(content)
    done = outrib("import", tmp_path / "bad.stl", "-o", tmp_path / "a.outrib", "--json")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "bad.stl" in one_sentence(done.stderr)
    assert not (tmp_path / "a.outrib").exists()


@pytest.mark.parametrize(
    "name", ["sedan_chassis_vis.obj", "autoRallyPlatform.stl", "vehicle-truck-yellow.glb"]
)
def test_real_meshes_come_in(meshes: Path, tmp_path: Path, name: str) -> None:
    done = outrib("import", meshes / name, "-o", tmp_path / "a.outrib", "--json")
    assert done.returncode == 0, done.stderr
    value = json.loads(done.stdout)
    stored = job.load(tmp_path / "a.outrib").panels.values()
    assert [(panel.name, len(panel.mesh.triangles)) for panel in stored] == [
        (panel["name"], panel["triangles"]) for panel in value["panels"]
    ]
    assert all(size > 0 for size in value["size_mm"].values())


# check


@pytest.mark.parametrize(
    ("gap", "status", "severities"), [(25.0, 0, set()), (15.0, 1, {"warning"}), (-5.0, 1, {"error"})]
)
def test_the_exit_status_tells_findings_above_a_note(
    body: Path, capfd: Any, gap: float, status: int, severities: set[str]
) -> None:
    caged = with_tube(body, gap)
    capfd.readouterr()
    assert commands.run(["check", str(caged), "--json"]) == status
    value = json.loads(capfd.readouterr().out)
    assert {finding["severity"] for finding in value["findings"]} - {"note"} == severities


def test_a_note_alone_is_no_failure(tmp_path: Path, capfd: Any) -> None:
    stocks, dies, next_id = stock.starting_rack(1)
    layout = Layout(next_id=next_id, stocks=stocks, dies=dies)
    layout, _ = edits.add_tube(layout, [(0.0, 0.0, 0.0), (0.0, 900.0, 0.0)], min(stocks))
    job.save(layout, tmp_path / "bare.outrib")
    assert commands.run(["check", str(tmp_path / "bare.outrib"), "--json"]) == 0
    findings = json.loads(capfd.readouterr().out)["findings"]
    assert [(finding["rule"], finding["severity"]) for finding in findings] == [("body.no_panels", "note")]


def test_check_gives_the_true_gap_and_where_it_is(body: Path, capfd: Any) -> None:
    caged = with_tube(body, 15.0)
    capfd.readouterr()
    assert commands.run(["check", str(caged), "--json"]) == 1
    value = json.loads(capfd.readouterr().out)
    (row,) = value["clearances"]
    assert (row["tube"], row["panel"]) == ("T1", "shell")
    assert row["clearance_mm"] == pytest.approx(15.0, abs=0.05)
    assert row["safe_mm"] == pytest.approx(15.0 - 3.0 - 5.0, abs=0.05)
    assert (row["movement_mm"], row["band"]) == (0.0, "close")
    assert (row["closest_mm"], row["farthest_mm"]) == (15.0, 40.0)
    assert value["ties"] == []
    assert row["panel_point"][1] == pytest.approx(SIDE)
    assert row["tube_point"][1] == pytest.approx(SIDE + 15.0, abs=0.05)
    assert math.dist(row["tube_point"], row["panel_point"]) == pytest.approx(row["clearance_mm"], abs=1e-6)
    (finding,) = [one for one in value["findings"] if one["severity"] == "warning"]
    assert finding.keys() >= {
        "rule",
        "severity",
        "tubes",
        "nodes",
        "panels",
        "value",
        "limit",
        "unit",
        "at",
        "message",
    }
    assert finding["rule"] == "clearance.too_close"
    assert (finding["tubes"], finding["panels"], finding["unit"]) == (["T1"], ["shell"], "mm")
    assert finding["limit"] == 15.0
    assert finding["value"] == pytest.approx(15.0 - 3.0 - 5.0, abs=0.05)
    assert "T1" in finding["message"]


def test_check_gives_ties_and_what_they_cost(body: Path, capfd: Any) -> None:
    caged = with_tube(body, 30.0)
    layout = job.load(caged)
    (tube,) = layout.tubes
    layout = fixing.set_tied(layout, [tube], "frame")
    layout = fixing.set_standoff(layout, [tube], closest=5.0)
    job.save(layout, caged)
    capfd.readouterr()
    assert commands.run(["check", str(caged), "--json"]) == 0
    value = json.loads(capfd.readouterr().out)
    (row,) = value["clearances"]
    assert row["movement_mm"] == pytest.approx(15.0, abs=0.1)
    assert row["safe_mm"] == pytest.approx(30.0 - 8.0 - 15.0, abs=0.1)
    assert value["ties"] == [
        {"tubes": ["T1"], "tied_to": ["frame"], "to_body": [], "to_frame": ["T1"], "welded": []}
    ]
    commands.run(["check", str(caged)])
    summary = capfd.readouterr().out.splitlines()[-1]
    assert "15.0 mm to 40.0 mm (other for 1 tube)" in summary
    assert summary.endswith("body on its mounts ±15.0 mm.")


def test_check_gives_the_room_of_tyres(body: Path, capfd: Any) -> None:
    caged = with_tube(body, 30.0)
    layout, front = axles.add(job.load(caged), tyres.parsed("33x12.50R15"))
    (tube,) = layout.tubes.values()
    x, y, z = layout.nodes[tube.nodes[0]].position
    layout = axles.change(layout, front, x=x, height=z, track=2.0 * abs(y), steer_inner=0.0, steer_outer=0.0)
    job.save(layout, caged)
    capfd.readouterr()
    assert commands.run(["check", str(caged), "--json"]) == 1
    value = json.loads(capfd.readouterr().out)
    (row,) = value["tyres"]
    side = "left" if y > 0.0 else "right"
    assert (row["axle"], row["side"], row["tube"]) == ("Front axle", side, "T1")
    assert row["clearance_mm"] == pytest.approx(-0.75 * 25.4, abs=0.05)  # it runs out of there again
    assert row.keys() >= {"station_mm", "tube_point", "tyre_point"}
    margin = layout.limits.tyre_margin
    for bite in value["tyres_and_panels"]:
        assert bite["axle"] == "Front axle"
        assert bite["clearance_mm"] == pytest.approx(margin - bite["missing_mm"])
        assert bite["missing_mm"] > 0.0
    assert {bite["panel"] for bite in value["tyres_and_panels"]} <= {p.name for p in layout.panels.values()}
    assert "tyre.hits_tube" in {finding["rule"] for finding in value["findings"]}


def test_check_says_it_in_sentences_without_json(body: Path, capfd: Any) -> None:
    caged = with_tube(body, 15.0)
    capfd.readouterr()
    commands.run(["check", str(caged)])
    out, err = capfd.readouterr()
    assert err == ""
    assert "T1 passes 15.0 mm from shell" in out
    assert "1 warning" in out.splitlines()[-1]


# schedule


def test_schedule_writes_the_packet(body: Path, tmp_path: Path, capfd: Any) -> None:
    caged = with_tube(body, 25.0)
    capfd.readouterr()
    folder = tmp_path / "new" / "packet"
    assert commands.run(["schedule", str(caged), "-o", str(folder)]) == 0
    (row,) = json.loads((folder / "schedule.json").read_text())["tubes"]
    assert row["name"] == "T1"
    assert row["od_mm"] == pytest.approx(38.1)
    (bend,) = row["bends"]
    clr, tangent = bend["clr_mm"], bend["clr_mm"]  # at 90 degrees the tangent is the radius
    assert bend["angle_deg"] == pytest.approx(90.0)
    assert bend["rotation_deg"] == 0.0
    assert bend["straight_before_mm"] == pytest.approx(900.0 - tangent)
    assert bend["start_mm"] == pytest.approx(row["start_allowance_mm"] + 900.0 - tangent)
    assert row["last_straight_mm"] == pytest.approx(1500.0 - tangent)
    assert row["centreline_mm"] == pytest.approx(2400.0 - 2 * tangent + clr * math.pi / 2)
    assert row["blank_mm"] == pytest.approx(
        row["centreline_mm"] + row["start_allowance_mm"] + row["end_allowance_mm"]
    )
    assert np.allclose(row["nodes"][1], (0.0, SIDE + 25.0 + 19.05, 1000.0))
    assert [end["kind"] for end in row["ends"]] == ["free", "free"]
    assert {"stock", "wall_mm", "mass_kg"} <= row.keys()
    assert (folder / "packet.pdf").read_bytes().startswith(b"%PDF-")
    rows = list(csv.reader((folder / "schedule.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert any("T1" in cells for cells in rows)


def test_schedule_is_written_though_findings_stand(body: Path, tmp_path: Path) -> None:
    caged = with_tube(body, -5.0)
    assert commands.run(["schedule", str(caged), "-o", str(tmp_path / "packet"), "--units", "in"]) == 1
    written = json.loads((tmp_path / "packet" / "schedule.json").read_text())
    assert written["tubes"][0]["od_mm"] == pytest.approx(38.1)  # scripts read mm whatever people read


def test_schedule_of_no_tube_is_refused(body: Path, tmp_path: Path, capfd: Any) -> None:
    capfd.readouterr()
    assert commands.run(["schedule", str(body), "-o", str(tmp_path / "packet")]) == 2
    assert "no tube" in capfd.readouterr().err
    assert not (tmp_path / "packet").exists()


# The program


def test_the_version_is_the_one_in_pyproject() -> None:
    project = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))
    done = outrib("--version")
    assert (done.returncode, done.stdout) == (0, f"Outrib {project['project']['version']}\n")


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have a screen")
@pytest.mark.parametrize("variables", [{}, {"DISPLAY": ":987"}])
def test_no_screen_is_said_in_one_line(variables: dict[str, str]) -> None:
    done = outrib(**variables)
    assert (done.returncode, done.stdout) == (2, "")
    assert "There is no screen here" in one_sentence(done.stderr)


@pytest.mark.parametrize(
    "arguments",
    [
        ("check",),
        ("check", "/nowhere/job.outrib"),
        ("check", "/"),
        ("schedule", "/nowhere/job.outrib", "-o", "/nowhere"),
        ("import", "/nowhere/mesh.stl", "-o", "/nowhere/job.outrib"),
        ("import", "mesh.stl", "-o", "job.outrib", "--unit", "yard"),
        ("import", "mesh.stl", "-o", "job.outrib", "--replace", "--add"),
        ("frobnicate",),
        ("--frobnicate",),
    ],
)
def test_a_wrong_call_is_refused_in_one_sentence(arguments: tuple[str, ...], capfd: Any) -> None:
    assert start.main(arguments) == 2
    out, err = capfd.readouterr()
    assert out == ""
    one_sentence(err)


def test_a_fault_of_ours_is_3_and_written_down(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capfd: Any
) -> None:
    def broken(_path: Path) -> Layout:
        raise KeyError("a fault of ours")

    monkeypatch.setattr(job, "load", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert commands.run(["check", "any.outrib", "--json"]) == 3
    out, err = capfd.readouterr()
    (note,) = tmp_path.glob("outrib-fault-*.txt")
    assert out == ""
    assert str(note) in err
    assert "Traceback" not in err
    assert "a fault of ours" in note.read_text(encoding="utf-8")


def test_what_libraries_print_never_mixes_with_json(
    monkeypatch: pytest.MonkeyPatch, body: Path, capfd: Any
) -> None:
    real = job.load

    def noisy(path: Path) -> Layout:
        print("a library says hello")
        os.write(1, b"another one too\n")
        return real(path)

    monkeypatch.setattr(job, "load", noisy)
    capfd.readouterr()
    commands.run(["check", str(body), "--json"])
    out, err = capfd.readouterr()
    json.loads(out)
    assert "a library says hello" in err
    assert "another one too" in err


# rack


def test_a_rack_goes_from_job_to_job(body: Path, tmp_path: Path, capfd: Any) -> None:
    other = tmp_path / "other.outrib"
    layout, _ = rack.add_die(Layout(), Die(0, "Tight", 38.1, 95.0))
    job.save(layout, other)
    for name, extra in (("rack.json", []), ("dies.csv", ["--part", "dies"])):
        assert commands.run(["rack", str(other), "-o", str(tmp_path / name), *extra]) == 0
    capfd.readouterr()
    before = job.load(body)
    assert commands.run(["rack", str(body), "--from", str(tmp_path / "rack.json")]) == 0
    assert capfd.readouterr().out == "1 die added.\n"
    after = job.load(body)
    assert [*after.dies.values()][-1].name == "Tight"
    assert after.panels.keys() == before.panels.keys()
    assert commands.run(["rack", str(body), "--from", str(tmp_path / "dies.csv")]) == 0
    assert capfd.readouterr().out == "Everything in it was in the rack already.\n"


@pytest.mark.parametrize(
    ("rest", "says"),
    [
        ([], "One of the arguments -o --from is required"),
        (["-o", "rack.csv"], "Add --part stock or --part dies."),
        (["-o", "rack.xlsx"], "must end in .json"),
        (["-o", "there.json"], "Add --replace to write over it."),
        (["--from", "none.json"], "There is no file"),
        (["--from", "there.json"], "there.json can't be used. It is no rack"),
    ],
)
def test_a_rack_that_can_not_be_carried_is_refused_in_a_sentence(
    body: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: Any, rest: list[str], says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("there.json").write_text("{}", encoding="utf-8")
    before = body.read_bytes()
    capfd.readouterr()
    assert commands.run(["rack", str(body), *rest]) == 2
    told = capfd.readouterr()
    assert (told.out, told.err.count("\n")) == ("", 1)
    assert says in told.err
    assert body.read_bytes() == before


def test_check_says_where_doors_meet_tubes(tmp_path: Path, capfd: Any) -> None:
    layout = sample.build()
    door = next(panel.id for panel in layout.panels.values() if panel.name == "left door")
    hinge = hinges.hinge_at(layout, door, "front")
    layout = hinges.set_motion(layout, door, hinge)
    x, y, z = hinge.start
    ends = [(x - 500.0, y + 400.0, z), (x - 500.0, y + 400.0, z + 500.0)]
    layout, bar = edits.add_tube(layout, ends, min(layout.stocks))
    path = tmp_path / "door.outrib"
    job.save(layout, path)
    assert commands.run(["check", str(path), "--json"]) == 1
    value = json.loads(capfd.readouterr().out)
    (row,) = [row for row in value["doors"] if row["tube"] == layout.tubes[bar].name]
    assert (row["panel"], row["carrier"], row["unit"]) == ("left door", "left door", "deg")
    assert 0.0 < row["at"] < row["touches_at"] < row["full"] == pytest.approx(70.0)
    assert any(found["rule"] == "door.hits" for found in value["findings"])


def test_check_gives_tubes_in_zones_and_past_limits_and_what_is_unset(body: Path, capfd: Any) -> None:
    caged = with_tube(body, 30.0)
    layout = job.load(caged)
    (tube,) = layout.tubes.values()
    x, y, z = layout.nodes[tube.nodes[0]].position
    layout, _ = zoning.add_zone(layout, "jack", BoxShape((x, y, z), (100.0, 100.0, 100.0)), "Left jack")
    layout = zoning.set_needed(layout, "winch rope", False)
    outside = references.facing((0.0, y, 0.0), (0.0, y, 0.0))
    layout, _ = references.added(layout, outside, "Width limit, left", limit=True)
    job.save(layout, caged)
    capfd.readouterr()
    assert commands.run(["check", str(caged), "--json"]) == 1
    value = json.loads(capfd.readouterr().out)
    (row,) = value["zones"]
    assert (row["zone"], row["purpose"], row["tube"]) == ("Left jack", "jack", "T1")
    radius = 0.75 * 25.4
    assert row["depth_mm"] == pytest.approx(50.0 + radius, abs=0.05)
    (past,) = value["limits"]
    assert (past["limit"], past["tube"]) == ("Width limit, left", "T1")
    assert past["past_mm"] == pytest.approx(radius)
    assert "winch rope" not in value["zones_unset"]
    assert "jack" not in value["zones_unset"]
    assert "mirror" in value["zones_unset"]
    rules = {found["rule"] for found in value["findings"]}
    assert rules >= {"zone.in_the_way", "reference.past_limit"}
    commands.run(["check", str(caged)])
    said = capfd.readouterr().out
    assert "T1 reaches 69.1 mm into the room kept for “Left jack”" in said
    assert "T1 reaches 19.1 mm past “Width limit, left”" in said
    assert said.splitlines()[-1].endswith(", 1 access zone and 1 limit.")
