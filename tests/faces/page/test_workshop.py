"""The workshop of one tab: the plan is the command line's, to the byte, and nothing that goes wrong stays wrong."""

from __future__ import annotations

import asyncio
import io
import json
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic, sleep
from typing import Any

import msgspec
import psutil
import pytest
from pypdf import PdfReader

from moldprep.errors import Cancelled, FileError, RequestError
from moldprep.faces.page import workshop as module
from moldprep.faces.page.messages import Planned, SeamPrice
from moldprep.faces.page.reading import Limits
from moldprep.faces.page.workshop import READING, Workshop
from moldprep.files.read import read_master
from moldprep.findings import worst_first
from moldprep.job import Job, job_from_dict
from moldprep.planning import Plan, check, plan
from moldprep.sheet.bundle import plan_files
from moldprep.sheet.record import check_record, record_hash, record_json
from moldprep.working import Memo
from tests.samples import FOLDER

JOB = job_from_dict(
    {"shrinkage": {"total_percent": 10}, "parting": {"azimuths": 4, "grid": 48}, "pull": {"search": False}}
)
BOWL = FOLDER / "footed-bowl.stl"
SEAMS, CUT = "find the seams", "cut the pieces"

Do = Callable[[Any], Any]


def changed(**keys: dict[str, object]) -> Job:
    raw = msgspec.to_builtins(JOB)
    for part, values in keys.items():
        raw[part] |= values
    return job_from_dict(raw)


class Ear:
    """What `on_stage` hears, and what it does then."""

    def __init__(self) -> None:
        self.heard: list[tuple[str, int, int]] = []
        self.at: dict[str, Callable[[], None]] = {}

    def __call__(self, name: str, done: int, of: int) -> None:
        self.heard.append((name, done, of))
        if name in self.at:
            self.at.pop(name)()

    @property
    def worked(self) -> set[str]:
        """Stages that took steps: those that were not found again in the memory."""
        return {name for name, _, of in self.heard if of}


@pytest.fixture(scope="module")
def do() -> Iterator[Do]:
    """Runs a coroutine to its end, always in the same event loop."""
    with asyncio.Runner() as runner:
        yield runner.run


@pytest.fixture(scope="module")
def ear() -> Ear:
    return Ear()


@pytest.fixture(scope="module")
def upload(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bowl as it was handed in: under a name that says nothing."""
    return Path(shutil.copyfile(BOWL, tmp_path_factory.mktemp("uploads") / "upload-1"))


@pytest.fixture(scope="module")
def shop(do: Do, ear: Ear, upload: Path) -> Iterator[Workshop]:
    """A workshop in which the bowl has been read."""

    async def opened() -> Workshop:
        made = Workshop(ear)
        await made.start()
        await made.read(upload, "footed-bowl.stl", JOB.form)
        return made

    made = do(opened())
    yield made
    do(made.close())


@pytest.fixture(scope="module")
def memo() -> Memo:
    return Memo(100)


@pytest.fixture(scope="module")
def direct(memo: Memo) -> Plan:
    """The same plan without a page."""
    return plan(read_master(BOWL, JOB.form), JOB, memo=memo)


@pytest.fixture(scope="module")
def files(direct: Plan) -> dict[str, bytes]:
    return plan_files(direct)


@pytest.fixture
def planned(do: Do, shop: Workshop, ear: Ear) -> Planned:
    """The plan of `JOB`, the last one that was made; nothing has been heard since."""
    made: Planned = do(shop.plan(JOB))
    ear.heard.clear()
    return made


def process(shop: Workshop) -> psutil.Process:
    assert shop._link is not None
    return psutil.Process(shop._link.process.pid)


def test_a_check_is_the_command_lines_and_a_plan_goes_on_from_there(
    do: Do, shop: Workshop, ear: Ear, direct: Plan, memo: Memo
) -> None:
    looked = do(shop.look(JOB))
    sizing, stand, study = check(direct.master, JOB, memo=memo)
    findings = worst_first(direct.master.findings + sizing.findings + stand.findings + study.findings)
    assert looked.record == check_record(direct.master, sizing, stand, study, findings)
    assert looked.classes.startswith(b"glTF")
    assert looked.bounds == tuple(map(tuple, stand.mesh.bounds.tolist()))
    ear.heard.clear()
    do(shop.plan(JOB))
    assert {SEAMS, CUT} <= ear.worked
    assert not {"size the master", "stand it in its mold", "study the pulls"} & ear.worked


def test_a_plan_is_the_command_lines_to_the_byte(planned: Planned, direct: Plan) -> None:
    assert planned.record == record_json(direct)
    assert planned.hash == record_hash(planned.record) and not planned.stop
    assert [part.letter for part in planned.parts] == ["", *(p.letter for p in direct.pieces.pieces)]
    assert all(part.glb.startswith(b"glTF") for part in planned.parts)
    assert planned.classes.startswith(b"glTF")
    assert planned.bounds == tuple(map(tuple, direct.stand.mesh.bounds.tolist()))
    assert planned.highest_mm == direct.stand.rim_mm


def test_only_what_a_change_concerns_is_done_again(
    do: Do, shop: Workshop, ear: Ear, planned: Planned, direct: Plan, memo: Memo
) -> None:
    job = changed(plaster={"consistency": 75})
    found = do(shop.plan(job))
    assert found.record == record_json(plan(direct.master, job, memo=memo)) != planned.record
    assert not {SEAMS, CUT, "make the boards"} & ear.worked
    assert READING not in {name for name, _, _ in ear.heard}


def test_an_untouched_seam_costs_what_the_plan_says(do: Do, shop: Workshop, planned: Planned) -> None:
    parting = json.loads(planned.record)["parting"]
    price = do(shop.seam(tuple(parting["planes"])))
    assert price.price == pytest.approx(parting["price"], rel=1e-6)  # the record is rounded
    assert price.pieces == parting["piece_count"] and len(price.names) == len(price.planes_mm) == 1
    moved = do(shop.seam((0.5 * planned.highest_mm,)))
    assert moved.price > price.price and moved.locked_mm3 > price.locked_mm3


def test_seams_that_come_fast_do_not_pile_up(do: Do, shop: Workshop, planned: Planned) -> None:
    async def dragged() -> list[Any]:
        heights = [10.0 + k for k in range(20)]
        return await asyncio.gather(*(shop.seam((h,)) for h in heights), return_exceptions=True)

    answers = do(dragged())
    answered = [answer for answer in answers if isinstance(answer, SeamPrice)]
    assert answers[-1] in answered and answers[-1].planes_mm == (29.0,)
    assert 1 <= len(answered) <= 2
    assert sum(isinstance(answer, Cancelled) for answer in answers) == 20 - len(answered)


def test_the_bundle_holds_the_plans_files(
    do: Do, shop: Workshop, planned: Planned, files: dict[str, bytes], tmp_path: Path
) -> None:
    do(shop.bundle(tmp_path / "bowl.zip"))
    with zipfile.ZipFile(tmp_path / "bowl.zip") as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == files
    do(shop.bundle(tmp_path / "again.zip"))
    assert (tmp_path / "again.zip").read_bytes() == (tmp_path / "bowl.zip").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["again.zip", "bowl.zip"]
    assert do(shop.names()) == tuple(files)
    assert do(shop.sheet()) == files["sheet.pdf"]
    for name in ("sheet.pdf", "plan.json", "pieces/A-foot.stl", "view.glb"):
        assert do(shop.file(name)) == files[name]


@pytest.mark.parametrize("name", ["pieces/Z.stl", "../upload-1", "/etc/hostname", ""])
def test_no_other_file_comes_out(name: str, do: Do, shop: Workshop, planned: Planned) -> None:
    with pytest.raises(FileError) as caught:
        do(shop.file(name))
    assert caught.value.code == "file-unknown" and "pieces/A-foot.stl" in caught.value.remedy


def test_a_bundle_that_cannot_be_written_says_so(
    do: Do, shop: Workshop, planned: Planned, tmp_path: Path
) -> None:
    with pytest.raises(FileError) as caught:
        do(shop.bundle(tmp_path / "missing" / "bowl.zip"))
    assert caught.value.code == "bundle-unwritable" and list(tmp_path.iterdir()) == []


def test_what_nobody_foresaw_is_told_as_a_sentence(do: Do, shop: Workshop, planned: Planned) -> None:
    with pytest.raises(RequestError) as caught:
        do(shop.bundle("no path"))  # type: ignore[arg-type]
    assert caught.value.code == "unforeseen" and "AttributeError" in caught.value.says
    assert "command line" in caught.value.remedy


def test_every_page_of_the_sheet_is_a_picture(
    do: Do, shop: Workshop, planned: Planned, files: dict[str, bytes]
) -> None:
    pages = do(shop.pages(30))
    assert len(pages) == len(PdfReader(io.BytesIO(files["sheet.pdf"])).pages)
    assert all(page.startswith(b"\x89PNG") for page in pages)


def test_a_broken_file_changes_nothing(do: Do, shop: Workshop, planned: Planned, tmp_path: Path) -> None:
    broken, named = tmp_path / "upload-2", tmp_path / "torn cup.stl"
    for path in (broken, named):
        path.write_bytes(BOWL.read_bytes()[:-70])
    with pytest.raises(FileError) as wanted:
        read_master(named, JOB.form)
    with pytest.raises(FileError) as caught:
        do(shop.read(broken, "torn cup.stl", JOB.form))
    assert vars(caught.value) == vars(wanted.value)
    assert do(shop.file("plan.json")) == planned.record


@pytest.mark.parametrize(
    ("limits", "code"),
    [(Limits(60.0, 1), "file-too-heavy"), (Limits(-1.0, 10**12), "file-too-slow")],
    ids=["memory", "time"],
)
def test_a_file_beyond_the_limits_is_refused_and_the_work_goes_on(
    limits: Limits,
    code: str,
    do: Do,
    shop: Workshop,
    upload: Path,
    planned: Planned,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(shop.intake, "limits", limits)
        big = upload.with_name("upload-5")
        big.write_bytes(text_stl(60_000))
        with pytest.raises(FileError) as caught:
            do(shop.read(big, "scan.stl", JOB.form))
    assert caught.value.code == code and "scan.stl" in caught.value.says
    assert do(shop.file("plan.json")) == planned.record


def text_stl(facets: int) -> bytes:
    """The same facet over and over: it takes a second and some memory to read."""
    facet = b"facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
    return b"solid x\n" + facet * facets + b"endsolid x\n"


def test_a_cancelled_plan_leaves_the_last_one_and_can_be_taken_up_again(
    do: Do, shop: Workshop, ear: Ear, planned: Planned
) -> None:
    worker = process(shop)
    job = changed(parting={"azimuths": 5})
    ear.at[SEAMS] = shop.cancel
    with pytest.raises(Cancelled):
        do(shop.plan(job))
    heard = len(ear.heard)
    assert do(shop.file("plan.json")) == planned.record
    assert len(ear.heard) == heard  # nothing is told of what was cancelled, and nothing was planned again
    assert process(shop) == worker
    assert json.loads(do(shop.plan(job)).record)["job"]["parting"]["azimuths"] == 5


def test_what_waits_is_cancelled_with_what_runs(do: Do, shop: Workshop, ear: Ear, planned: Planned) -> None:
    async def crowded() -> list[Any]:
        ear.at[SEAMS] = shop.cancel
        requests = (shop.plan(changed(parting={"azimuths": 6})), shop.pages(30), shop.seam((10.0,)))
        return await asyncio.gather(*requests, return_exceptions=True)

    assert [type(answer) for answer in do(crowded())] == [Cancelled] * 3


ABANDONED = """
import asyncio, os, signal
from moldprep.faces.page.workshop import Workshop

async def main():
    made = Workshop(print)
    await made.start()
    print(made._link.process.pid, made.intake._spare.process.pid, flush=True)
    os.kill(os.getpid(), signal.SIGTERM)

asyncio.run(main())
"""


def test_processes_die_with_a_page_that_is_killed(tmp_path: Path) -> None:
    with (tmp_path / "said").open("w") as said:  # a pipe would be held open by those that must end
        ended = subprocess.run(
            [sys.executable, "-c", ABANDONED], cwd=Path(__file__).parents[3], stdout=said, check=False
        )
    left = [int(word) for word in (tmp_path / "said").read_text().split()]
    assert len(left) == 2 and ended.returncode != 0
    until = monotonic() + 60  # they may still be starting; usually it takes a moment
    while any(map(alive, left)) and monotonic() < until:
        sleep(0.05)
    assert not any(map(alive, left))


def alive(pid: int) -> bool:
    """Whether a process runs: one that has ended and waits to be asked for its status does not."""
    try:
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def test_two_workshops_do_not_disturb_each_other_and_leave_nothing(
    do: Do, shop: Workshop, ear: Ear, planned: Planned
) -> None:
    async def beside() -> list[Any]:
        other = Workshop(Ear())
        await other.start()
        refused = [
            await asyncio.gather(asked, return_exceptions=True)
            for asked in (other.look(JOB), other.plan(JOB), other.pages(30), other.bundle(Path("x.zip")))
        ]
        tumbler = FOLDER / "tumbler.stl"
        await other.read(tumbler, tumbler.name, JOB.form)
        ear.at[SEAMS] = shop.cancel
        both = await asyncio.gather(
            other.look(JOB), shop.plan(changed(parting={"azimuths": 9})), return_exceptions=True
        )
        assert other._link is not None and other.intake._spare is not None
        left = [other._link.process.pid, other.intake._spare.process.pid]
        waiting = asyncio.create_task(other.plan(JOB))
        await asyncio.sleep(0)
        await other.close()
        (closed,) = await asyncio.gather(waiting, return_exceptions=True)
        return [refused, both, closed, [psutil.pid_exists(pid) for pid in left]]

    refused, (looked, cancelled), closed, alive = do(beside())
    assert [error.code for (error,) in refused] == ["no-form", "no-form", "no-plan", "no-plan"]
    assert looked.record["name"] == "tumbler" and type(cancelled) is Cancelled
    assert type(closed) is Cancelled and alive == [False, False]
    assert do(shop.file("plan.json")) == planned.record


def test_a_process_that_heeds_no_cancel_is_replaced_and_holds_again_what_it_held(
    do: Do, shop: Workshop, ear: Ear, planned: Planned, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 0.05)
    worker = process(shop)

    def freeze() -> None:
        worker.suspend()
        shop.cancel()

    ear.at[SEAMS] = freeze
    with pytest.raises(Cancelled):
        do(shop.plan(changed(parting={"azimuths": 7})))
    looked = do(shop.look(changed(form={"name": "Bowl of spring"})))
    assert not worker.is_running() and (READING, 0, 0) in ear.heard
    assert looked.record["name"] == "Bowl of spring"
    ear.heard.clear()
    assert do(shop.file("plan.json")) == planned.record  # the plan on show, of the form as its job reads it
    assert (READING, 0, 0) in ear.heard


def test_a_process_that_is_killed_is_told_and_replaced(
    do: Do, shop: Workshop, ear: Ear, planned: Planned
) -> None:
    ear.at[SEAMS] = process(shop).kill
    with pytest.raises(RequestError) as caught:
        do(shop.plan(changed(parting={"azimuths": 8})))
    assert caught.value.code == "planning-died" and "broke down" in str(caught.value)
    assert do(shop.look(JOB)).record["name"] == "footed-bowl"
