"""Exports that are several files: named safely, all or none, never over what is there; and what is refused."""

import contextlib
import csv
import io
import shutil
import tempfile

import numpy as np
import pytest
import pyvista as pv
import trimesh
from PIL import Image

from portviz.__main__ import main
from portviz.errors import JobError
from portviz.scene import export_set
from portviz.scene.export_set import named_after, write_set

#: Names that would leave the folder, run as a formula, or break a header, an index or a table.
HOSTILE = ("../../etc/x", "=1+1", "a\\b/c:d", "ſß <&\"'>", "..", "\x1b[31mred")
HOSTILE_TITLE = 'Ø 38 <title>&\\"\\n# f 1 2 3 -->\\\\'


@pytest.fixture(scope="module")
def job(examples):
    return examples / "sidecar_intake"


@pytest.fixture(scope="module")
def small(job, tmp_path_factory):
    """The job with two of its lifts, 5 and 8 mm, and both runs."""
    folder = shutil.copytree(job, tmp_path_factory.mktemp("small") / "job")
    for name in ("readings.csv", "flow.csv"):
        header, *lines = (folder / name).read_text(encoding="utf-8").splitlines()
        kept = [line for line in lines if line.split(",")[1] in ("5", "8")]
        assert len(kept) >= 4
        (folder / name).write_text("\n".join([header, *kept, ""]), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def hostile_job(job, tmp_path_factory):
    folder = shutil.copytree(job, tmp_path_factory.mktemp("hostile") / "job")
    (folder / "flow.csv").unlink()
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["run", "lift [mm]", "station", "reading [Pa]"])
        # Two lifts that read alike when they are rounded as the job's tables are.
        for lift in (5.0, 5.001):
            table.writerows([name, lift, angle, 3000 + angle] for name in HOSTILE for angle in range(0, 360, 30))
    text = (folder / "job.toml").read_text(encoding="utf-8")
    changed = text.replace('"Hill-climb sidecar single, intake (invented)"', f'"{HOSTILE_TITLE}"')
    assert changed != text
    (folder / "job.toml").write_text(changed, encoding="utf-8")
    return folder


def export(job, target, *extra):
    with contextlib.redirect_stdout(io.StringIO()):
        return main(["export", str(job), str(target), *extra])


def content(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


# Names ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["stl", "ply", "obj", "vtp"])
def test_a_file_a_lift(small, tmp_path, sidecar, ending):
    assert export(small, tmp_path / f"head.{ending}", "--all-lifts", "--run", "wall relieved") == 0
    wanted = {f"head-5-00-mm.{ending}": 5e-3, f"head-8-00-mm.{ending}": 8e-3}
    assert {path.name for path in tmp_path.iterdir()} == set(wanted)
    for name, lift in wanted.items():
        group = int(np.flatnonzero(np.isclose(sidecar.lift, lift))[0])
        mesh = pv.read(tmp_path / name) if ending == "vtp" else trimesh.load(tmp_path / name, process=False)
        if ending != "obj":
            assert mesh.area * 1e-6 == pytest.approx(sidecar.areas.gap_area[group], rel=1e-4)


@pytest.mark.parametrize("ending", ["stl", "vtm", "vtkhdf", "glb", "ply", "obj", "vtp"])
def test_no_name_leaves_its_folder_and_no_text_breaks_a_file(hostile_job, tmp_path, ending):
    inner = tmp_path / "in"
    inner.mkdir()
    for place, run in enumerate(HOSTILE[:2]):
        assert export(hostile_job, inner / f"a{place}.{ending}", "--run", run, "--all-lifts") == 0
    assert [path.name for path in tmp_path.iterdir()] == ["in"]
    made = sorted(path for path in inner.iterdir() if path.is_file())
    assert len(made) == (4 if ending in ("stl", "ply", "obj", "vtp") else 2)
    for path in made:
        if ending in ("vtm", "vtkhdf"):
            blocks = pv.read(path)
            assert blocks.keys() == ["lift 5.00 mm", "lift 5.00 mm (2)", "seat"]
            assert all(block["curtain"].area > 0.0 for block in list(blocks)[:2])
        elif ending == "vtp":
            said = pv.read(path).field_data
            assert said["title"].tolist() == ['Ø 38 <title>&"\n# f 1 2 3 -->\\']
            assert said["run"].tolist() == [HOSTILE[int(path.name[1])]]
        else:
            assert trimesh.load(path, process=False).area > 0.0
            if ending == "obj":
                kinds = {line.split(" ")[0] for line in path.read_text(encoding="ascii").splitlines() if line}
                assert kinds == {"#", "o", "v", "f"}


@pytest.mark.parametrize(("example", "unit"), [("sidecar_intake", "mm"), ("tractor_exhaust", "in")])
def test_names_of_lifts_sort_as_the_lifts_do(examples, tmp_path, example, unit):
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["export", str(examples / example), str(tmp_path / "a.stl"), "--all-lifts"]) == 0
    names = [line.rpartition("/")[2].removesuffix(".stl") for line in out.getvalue().splitlines()]
    assert names == sorted(names) == sorted(path.stem for path in tmp_path.iterdir())
    # Written lift by lift, ascending; as numbers they are just that.
    numbers = [name.removeprefix("a-").removesuffix(f"-{unit}").replace("-", ".") for name in names]
    lifts = [float(number) for number in numbers]
    assert lifts == sorted(lifts)
    assert len(lifts) > 4
    assert len({number.index(".") for number in numbers}) == 1
    if unit == "mm":
        assert names[0] == "a-01-00-mm"


def test_a_vtm_says_what_goes_with_it(small, tmp_path, capsys):
    assert main(["export", str(small), str(tmp_path / "a.vtm")]) == 0
    assert capsys.readouterr().out.rstrip().endswith("a.vtm and its folder a.vtm-blocks; keep the two together")
    assert {path.name for path in tmp_path.iterdir()} == {"a.vtm", "a.vtm-blocks"}


def test_names_are_safe_and_unlike():
    """Letters, digits and dashes alone, so that no name is a path; two that become alike have a number."""
    from pathlib import Path

    labels = [(name, "8.00 mm") for name in (*HOSTILE, "a b", "a-b")]
    names = named_after(Path("x") / "head.v2.png", labels)
    assert len({path.name.lower() for path in names}) == len(labels)
    for path in names:
        assert path.parent == Path("x")
        assert path.name.startswith("head.v2-")
        assert all(letter.isalnum() or letter == "-" for letter in path.stem.removeprefix("head.v2-"))


# All or none ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ending", "held"),
    [("stl", "a-8-00-mm.stl"), ("vtm", "a.vtm"), ("vtm", "a.vtm-blocks"), ("png", "a-as-found-8-00-mm.png")],
)
def test_where_one_is_there_none_is_written(small, tmp_path, capsys, opengl, ending, held):
    if held.endswith("blocks"):
        (tmp_path / held).mkdir()
        (tmp_path / held / "mine.vtp").write_text("mine", encoding="utf-8")
    else:
        (tmp_path / held).write_text("mine", encoding="utf-8")
    before = content(tmp_path)
    size = ("--size", "640x400") if ending == "png" else ()
    assert export(small, tmp_path / f"a.{ending}", "--all-lifts", *size) == 1
    error = capsys.readouterr().err
    assert (held in error, "there already" in error, "--overwrite" in error) == (True, True, True)
    assert content(tmp_path) == before


def test_overwriting_replaces_the_whole_set(small, tmp_path):
    for ending in ("stl", "vtm"):
        assert export(small, tmp_path / f"a.{ending}", "--all-lifts") == 0
    first = content(tmp_path)
    (tmp_path / "a-8-00-mm.stl").write_text("old", encoding="utf-8")
    (tmp_path / "a.vtm-blocks" / "curtain-9-00-mm.vtp").write_text("of a lift that is no more", encoding="utf-8")
    for ending in ("stl", "vtm"):
        assert export(small, tmp_path / f"a.{ending}", "--all-lifts", "--overwrite") == 0
    assert content(tmp_path) == first


@pytest.mark.parametrize("kind", ["another file", "a folder", "a link"])
def test_no_folder_is_replaced_but_our_own(small, tmp_path, capsys, kind):
    folder = tmp_path / "a.vtm-blocks"
    if kind == "a link":
        folder.symlink_to(shutil.copytree(small, tmp_path / "kept"), target_is_directory=True)
    else:
        folder.mkdir()
        (folder / "notes.txt").write_text("mine") if kind == "another file" else (folder / "inner.vtp").mkdir()
    before = content(tmp_path)
    assert export(small, tmp_path / "a.vtm", "--overwrite") == 1
    assert "not a folder that an export has made" in capsys.readouterr().err
    assert content(tmp_path) == before


def test_a_job_beside_is_left_alone(small, tmp_path):
    """The file's stem is the job's name, and the job stays."""
    folder = shutil.copytree(small, tmp_path / "head")
    before = content(folder)
    assert export(folder, tmp_path / "head.vtm", "--overwrite") == 0
    assert export(folder, tmp_path / "head.vtm", "--overwrite", "--all-lifts") == 0
    assert content(folder) == before


@pytest.mark.parametrize("overwrite", [False, True])
def test_what_fails_half_way_is_undone(tmp_path, monkeypatch, overwrite):
    """The third move fails; the two before it are taken back, and what stood there is there again."""
    targets = [tmp_path / name for name in ("a.txt", "b.txt", "c.txt")]
    folder = tmp_path / "blocks"
    if overwrite:
        folder.mkdir()
        for path in (*targets, folder / "old.vtp"):
            path.write_text(f"old {path.name}", encoding="utf-8")
    before = content(tmp_path)
    placed = []
    plain = export_set._place

    def failing(made, target):
        placed.append(target)
        if len(placed) == 3:
            raise OSError(28, "No space left on device")
        plain(made, target)

    def write(scratch):
        (scratch / "blocks").mkdir()
        for name in ("a.txt", "b.txt", "c.txt", "blocks/new.vtp"):
            (scratch / name).write_text("new", encoding="utf-8")

    monkeypatch.setattr(export_set, "_place", failing)
    with pytest.raises(JobError, match="No space left on device"):
        write_set(targets, write, folder, overwrite=overwrite)
    assert content(tmp_path) == before
    assert sorted(tmp_path.iterdir()) == sorted([*targets, folder] if overwrite else [])
    monkeypatch.undo()
    write_set(targets, write, folder, overwrite=overwrite)
    assert {path.read_text(encoding="utf-8") for path in (*targets, folder / "new.vtp")} == {"new"}
    assert not (folder / "old.vtp").exists()


def test_a_file_that_appears_meanwhile_stays(tmp_path):
    targets = [tmp_path / "a.txt", tmp_path / "b.txt"]

    def write(scratch):
        for target in targets:
            (scratch / target.name).write_text("new", encoding="utf-8")
        targets[1].write_text("of somebody else", encoding="utf-8")

    with pytest.raises(JobError, match="there already"):
        write_set(targets, write)
    assert content(tmp_path) == {targets[1].relative_to(tmp_path): b"of somebody else"}


@pytest.fixture
def full_disk():
    """No file can grow beyond 3000 bytes, as on a full disk."""
    resource = pytest.importorskip("resource", reason="only POSIX systems can limit a file's size")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)

    @contextlib.contextmanager
    def limited():
        resource.setrlimit(resource.RLIMIT_FSIZE, (3000, hard))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))

    return limited


@pytest.mark.parametrize("ending", ["glb", "stl", "ply", "obj", "vtp", "vtm", "vtkhdf", "csv", "xlsx"])
def test_a_full_disk_is_told_and_leaves_what_was_there(job, tmp_path, capfd, full_disk, ending):
    target = tmp_path / f"a.{ending}"
    target.write_text("an older one", encoding="utf-8")
    before = content(tmp_path)
    with full_disk():
        assert export(job, target, "--overwrite") == 1
    error = capfd.readouterr().err
    assert error.count("\n") == 1
    assert "can't be written" in error
    assert content(tmp_path) == before
    assert [path.name for path in tmp_path.iterdir()] == [target.name]


@pytest.mark.parametrize("target", ["a.vtm", "a.stl", "a.vtkhdf", "a.xlsx", "a.csv"])
def test_a_folder_that_may_not_be_written(job, tmp_path, capsys, monkeypatch, target):
    def refuse(*args, **words):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(tempfile, "mkdtemp", refuse)
    extra = ("--all-lifts",) if target.endswith("stl") else ()
    assert export(job, tmp_path / target, *extra) == 1
    assert "can't be written: Permission denied" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


# Pictures -------------------------------------------------------------------------------------------------------------


def pixels(path):
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"), dtype=int)


def test_a_picture_a_lift_and_run(small, tmp_path, opengl):
    look = ("--camera", "cylinder", "--size", "640x400", "--field", "mach")
    assert export(small, tmp_path / "p.png", "--all-lifts", *look) == 0
    names = {f"p-{run}-{lift}-00-mm.png" for run in ("as-found", "wall-relieved") for lift in (5, 8)}
    assert {path.name for path in tmp_path.iterdir()} == names
    # Each is the picture of its run and lift alone, but for a pixel at an edge.
    one = tmp_path / "one.png"
    assert export(small, one, "--run", "wall relieved", "--lift", "8 mm", *look) == 0
    assert pixels(one).shape == (400, 640, 3)
    here = pixels(tmp_path / "p-wall-relieved-8-00-mm.png")
    assert np.mean(np.abs(here - pixels(one)).max(axis=2) > 8) < 2e-4
    other = pixels(tmp_path / "p-as-found-8-00-mm.png")
    assert np.mean(np.abs(here - other).max(axis=2) > 8) > 2e-3


# What is refused ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("target", "extra", "words"),
    [
        ("a.dwg", (), "must end in one of .stl, .ply, .obj, .vtp, .glb, .vtm, .vtkhdf, .csv, .xlsx, .png"),
        ("a.csv", ("--lift", "8 mm"), "lift: nothing for a.csv, a table holds every lift"),
        ("a.xlsx", ("--all-lifts",), "leave --all-lifts away"),
        ("a.csv", ("--part", "seat"), "leave --part away"),
        ("a.csv", ("--field", "mach"), "--field colours meshes and pictures; a table holds every field"),
        ("a.stl", ("--field", "mach"), "this kind of file has no colours"),
        ("a.glb", ("--camera", "port"), "leave --camera away"),
        ("a.glb", ("--size", "640x400"), "leave --size away"),
        ("a.png", ("--part", "seat"), "a picture shows all parts"),
        ("a.glb", ("--lift", "8 mm", "--all-lifts"), "--all-lifts takes every measured lift"),
        ("a.stl", ("--part", "seat", "--all-lifts"), "the seat is the same at every lift"),
        ("a.glb", ("--field", "velocty"), "field: 'velocty' is not one of"),
        ("a.png", ("--camera", "cylnder"), "Did you mean cylinder?"),
        ("a.png", ("--size", "big"), "is not WIDTHxHEIGHT"),
        ("a.xlsx", ("--run", "as fond"), "Did you mean 'as found'?"),
        ("a\x07.vtm", (), "signs that can't be seen"),
    ],
)
def test_wrong_usage_is_told_and_writes_nothing(job, tmp_path, capsys, target, extra, words):
    assert export(job, tmp_path / target, *extra) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_an_old_vtk_is_told_what_to_install(job, tmp_path, capsys, monkeypatch):
    """VTK 9.3 reads .vtkhdf and writes none."""
    import vtkmodules.vtkIOHDF

    monkeypatch.delattr(vtkmodules.vtkIOHDF, "vtkHDFWriter")
    assert export(job, tmp_path / "a.vtkhdf") == 2
    assert "vtk>=9.4" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
