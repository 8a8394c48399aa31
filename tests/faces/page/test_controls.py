"""The job's inputs, used as a maker uses them: type, leave the field, choose; in nicegui's own simulation."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterator
from typing import Any, get_args

import msgspec
import pytest
from nicegui import ElementFilter, ui
from nicegui.testing import User, user_simulation

from moldprep.faces.page.asking.keys import every_key, replaced, type_at, value_at
from moldprep.faces.page.asking.sections import ELSEWHERE, SECTIONS
from moldprep.faces.page.controls import JobControls, Section, title
from moldprep.faces.page.units import Units
from moldprep.job import (
    Bar,
    BoardsJob,
    CastJob,
    CottleJob,
    FormJob,
    Job,
    PartingJob,
    PullJob,
    ShrinkageJob,
    StandJob,
    StretchJob,
    TargetJob,
    Trial,
)

INCH = Units(inch=True)


class Maker:
    """Someone at the page: what they do, what they see, and which jobs the page was told."""

    def __init__(self, user: User, controls: JobControls, told: list[Job]) -> None:
        self.user, self.controls, self.told = user, controls, told

    def at(self, key: str, row: int = 0) -> ui.element:
        with self.user:
            found = sorted(ElementFilter(marker=key), key=lambda element: element.id)
        return found[row]

    def types(self, key: str, typed: str, *, row: int = 0, then: str = "blur") -> None:
        """Replace what stands in a field, and leave it."""
        self.at(key, row).value = typed  # type: ignore[attr-defined]
        self.does(key, then, row=row)

    def does(self, key: str, event: str, args: Any = None, *, row: int = 0) -> None:
        interaction = self.user.find(key)
        interaction.elements = {self.at(key, row)}
        interaction.trigger(event, args)

    def chooses(self, key: str, value: Any) -> None:
        self.does(key, "change", value)

    def goes(self, way: str) -> None:
        """Choose a way of an either-or, as "label: way"."""
        self.does(way, "change", self.at(way).props["value"])

    def shown(self, key: str, row: int = 0) -> str:
        return self.at(key, row).value  # type: ignore[attr-defined,no-any-return]

    def lines(self, key: str, row: int = 0) -> list[str]:
        """What describes a field and is to be seen."""
        ids = self.at(key, row).props["aria-describedby"].split()
        with self.user:
            all_texts = {one.html_id: one for one in ElementFilter(kind=ui.element)}
        return [all_texts[one].text for one in ids if all_texts[one].visible]  # type: ignore[attr-defined]

    @property
    def job(self) -> Job:
        return self.controls.job


def at_the_page(
    use: Callable[[Maker], Awaitable[None] | None],
    *sections: Section,
    job: Job | None = None,
    units: Units | None = None,
) -> None:
    """Open a page with these sections and use it."""
    told: list[Job] = []
    made: list[JobControls] = []

    def root() -> None:
        made.append(JobControls(job or Job(), units or Units(), on_change=told.append))
        for name in sections:
            made[-1].section(name)

    async def main() -> None:
        async with user_simulation(root) as user:
            await user.open("/")
            for name in sections:
                if SECTIONS[name].more:
                    user.find(f"More: {name}").trigger("toggle")
            use(Maker(user, made[-1], told))

    asyncio.run(main())


def test_a_number_goes_in_when_the_field_is_left() -> None:
    def use(maker: Maker) -> None:
        maker.at("shrinkage.total_percent").value = "1"  # type: ignore[attr-defined]
        maker.at("shrinkage.total_percent").value = "12"  # type: ignore[attr-defined]
        assert not maker.told
        maker.does("shrinkage.total_percent", "blur")
        assert maker.job.shrinkage.total_percent == 12.0
        assert maker.told == [Job(shrinkage=ShrinkageJob(total_percent=12.0))]
        maker.does("shrinkage.total_percent", "blur")
        assert len(maker.told) == 1
        maker.types("shrinkage.total_percent", "13", then="keydown.enter")
        assert maker.job.shrinkage.total_percent == 13.0

    at_the_page(use, "clay")


def test_a_decimal_comma_is_a_point_and_a_wrong_number_leaves_the_job() -> None:
    def use(maker: Maker) -> None:
        key = "shrinkage.total_percent"
        maker.types(key, "12,5")
        assert maker.job.shrinkage.total_percent == 12.5
        assert maker.shown(key) == "12.5"
        for typed in ("60", "-1", "wide", "nan", "inf", "1e1", "12,5,5"):
            maker.types(key, typed)
            assert maker.lines(key)[-1] == "Give a number from 0 to below 50 %; 12.5 % stays."
            assert maker.at(key).props["aria-invalid"] == "true"
            assert maker.shown(key) == typed
        assert maker.job.shrinkage.total_percent == 12.5
        assert len(maker.told) == 1
        maker.types(key, "12.5")
        assert "aria-invalid" not in maker.at(key).props
        assert not any("Give a number" in line for line in maker.lines(key))
        maker.types(key, "")
        assert maker.job == Job()

    at_the_page(use, "clay")


def test_an_empty_field_means_the_default_which_stands_in_it() -> None:
    def use(maker: Maker) -> None:
        assert maker.shown("plaster.consistency") == ""
        assert maker.at("plaster.consistency").props["placeholder"] == "70"
        maker.types("plaster.consistency", "80")
        assert maker.job.plaster.consistency == 80
        maker.types("plaster.consistency", " ")
        assert maker.job.plaster.consistency == 70
        assert maker.at("plaster.bucket_ml").props["placeholder"] == "as large as the pour"
        maker.types("plaster.plaster", " alpha plaster ")
        assert maker.job.plaster.plaster == "alpha plaster"
        maker.types("plaster.plaster", "")
        assert maker.job == Job()

    at_the_page(use, "plaster")


def test_inches_are_shown_and_read_and_change_nothing_by_themselves() -> None:
    job = Job(cottle=CottleJob(wall_mm=38.1, rings_mm=(163.0, 200.1234)), stand=StandJob(floor_mm=33.3333))

    def use(maker: Maker) -> None:
        assert maker.shown("cottle.wall_mm") == "1.5"
        assert maker.at("cottle.wall_mm").props["suffix"] == "in"
        assert maker.shown("cottle.rings_mm") == "6.417, 7.879"
        for key in ("cottle.wall_mm", "cottle.rings_mm", "stand.floor_mm"):
            maker.does(key, "blur")
        assert maker.job == job
        maker.types("cottle.wall_mm", "2")
        assert maker.job.cottle.wall_mm == 50.8
        maker.types("cottle.wall_mm", "1 1/2")
        assert maker.job.cottle.wall_mm == 38.1
        maker.types("cottle.wall_mm", "40 mm")
        assert maker.job.cottle.wall_mm == 40.0
        maker.types("cottle.wall_mm", "0")
        assert maker.lines("cottle.wall_mm")[-1].startswith("Give a number above 0 and up to 3937.008 in")
        maker.controls.set_units(Units())
        assert maker.shown("cottle.wall_mm") == "40"
        assert maker.shown("cottle.rings_mm") == "163, 200.123"
        assert maker.at("cottle.wall_mm").props["suffix"] == "mm"
        assert not any("Give" in line for line in maker.lines("cottle.wall_mm"))
        assert maker.at("printer.layer_mm").props["suffix"] == "mm"

    at_the_page(use, "cottle", "opening", "print", job=job, units=INCH)


def test_lists_take_spaces_semicolons_and_decimal_commas() -> None:
    def use(maker: Maker) -> None:
        maker.types("cottle.rings_mm", "160 200,5; 250")
        assert maker.job.cottle.rings_mm == (160.0, 200.5, 250.0)
        maker.types("cottle.rings_mm", "160,200")
        assert "two ways" in maker.lines("cottle.rings_mm")[-1]
        assert maker.job.cottle.rings_mm == (160.0, 200.5, 250.0)
        maker.types("cottle.rings_mm", "")
        assert maker.job == Job()
        maker.types("estimate.quantities", "1 2.5")
        assert "whole number from 1 to 10000" in maker.lines("estimate.quantities")[-1]
        maker.types("estimate.quantities", "5")
        assert maker.job.estimate.quantities == (5,)

    at_the_page(use, "cottle", "costs")


def test_a_comma_that_could_part_thousands_is_asked_about_unless_the_range_tells() -> None:
    def use(maker: Maker) -> None:
        maker.types("studio.order_pieces", "1,500")
        assert maker.job.studio.order_pieces == 1500  # one and a half pieces make no sense
        maker.types("studio.order_pieces", "1,000")
        assert maker.lines("studio.order_pieces")[-1].startswith(
            "1,000 can be read in two ways: write 1 or 1000"
        )
        maker.types("cast.slip_g_ml", "1,785")
        assert maker.job.cast.slip_g_ml == 1.785
        assert maker.job.studio.order_pieces == 1500

    at_the_page(use, "molds", "cast")


def test_test_bars_take_the_percents_place_and_the_percent_comes_back() -> None:
    def use(maker: Maker) -> None:
        maker.types("shrinkage.total_percent", "12")
        maker.goes("Shrinkage, wet to fired: from test bars")
        assert maker.job == Job()
        maker.types("shrinkage.bars.wet_mm", "150")
        assert any("you give “fired” too" in line for line in maker.lines("shrinkage.bars.wet_mm"))
        assert maker.job == Job()
        maker.types("shrinkage.bars.fired_mm", "133")
        assert maker.job.shrinkage == ShrinkageJob(bars=(Bar(150.0, 133.0),))
        maker.does("shrinkage.bars.add", "click")
        for place, typed in (("wet_mm", "150"), ("dry_mm", "144,5"), ("fired_mm", "133,5")):
            maker.types(f"shrinkage.bars.{place}", typed, row=1)
        both = (Bar(150.0, 133.0), Bar(150.0, 133.5, 144.5))
        assert maker.job.shrinkage.bars == both
        maker.types("shrinkage.bars.fired_mm", "155", row=1)
        assert any(
            "no longer than the one before" in line for line in maker.lines("shrinkage.bars.wet_mm", 1)
        )
        assert maker.job.shrinkage.bars == both
        maker.types("shrinkage.bars.fired_mm", "133,5", row=1)
        maker.goes("Shrinkage, wet to fired: in percent")
        assert maker.job.shrinkage == ShrinkageJob(total_percent=12.0)
        assert maker.shown("shrinkage.total_percent") == "12"
        maker.goes("Shrinkage, wet to fired: from test bars")
        assert maker.job.shrinkage == ShrinkageJob(bars=both)
        maker.does("shrinkage.bars.remove", "click")
        assert maker.job.shrinkage.bars == both[1:]
        assert maker.shown("shrinkage.bars.wet_mm") == "150"

    at_the_page(use, "clay")


def test_a_size_replaces_another() -> None:
    def use(maker: Maker) -> None:
        maker.goes("The whole form is scaled: to a height")
        assert maker.told == []
        maker.types("target.height_mm", "95")
        maker.goes("The whole form is scaled: to what it holds")
        assert maker.job == Job()
        maker.chooses("target.capacity_unit", "US fl oz")
        maker.types("target.capacity", "12")
        assert maker.job.target == TargetJob(capacity=12.0, capacity_unit="US fl oz")
        maker.types("target.fill_mm", "10")
        maker.goes("The whole form is scaled: to a height")
        assert maker.job.target == TargetJob(height_mm=95.0, fill_mm=10.0)
        maker.goes("The whole form is scaled: as drawn")
        assert maker.job.target == TargetJob(fill_mm=10.0)
        assert not panel_seen(maker, "target.height_mm")
        assert len(maker.told) == 7

    at_the_page(use, "size")


def test_both_ways_in_a_job_file_are_kept_until_the_maker_chooses() -> None:
    job = Job(shrinkage=ShrinkageJob(total_percent=12.0, bars=(Bar(150.0, 133.0),)))

    def use(maker: Maker) -> None:
        assert maker.job == job
        maker.goes("Shrinkage, wet to fired: from test bars")
        assert maker.job.shrinkage == ShrinkageJob(bars=job.shrinkage.bars)

    at_the_page(use, "clay", job=job)


def test_no_mark_a_mark_of_ones_own_and_the_usual_one() -> None:
    def use(maker: Maker) -> None:
        mark = "Mark in an outside face: "
        maker.goes(mark + "your own")
        maker.types("boards.mark", "MP 7")
        assert maker.job.boards.mark == "MP 7"
        maker.goes(mark + "none")
        assert maker.job.boards.mark == ""
        maker.goes(mark + "your own")
        assert maker.job.boards.mark == "MP 7"
        maker.goes(mark + "name, piece, size and date")
        assert maker.job == Job()
        maker.controls.set_job(Job(boards=BoardsJob(mark="")))
        assert maker.at(mark + "none").props["checked"]
        maker.goes(mark + "your own")
        assert (maker.job.boards.mark, maker.shown("boards.mark")) == (None, "")

    at_the_page(use, "boards")


def test_choices_and_consents_go_in_at_once() -> None:
    def use(maker: Maker) -> None:
        maker.chooses("form.units", "cm")
        assert maker.job.form.units == "cm"
        maker.chooses("form.units", "")
        assert maker.job.form.units is None
        maker.chooses("form.fill_hollow", True)
        assert maker.job.form.fill_hollow
        assert not panel_seen(maker, "stand.opening_diameter_mm")
        maker.chooses("stand.opening", "made")
        assert panel_seen(maker, "stand.opening_diameter_mm")
        maker.types("stand.opening_diameter_mm", "30")
        assert maker.job.stand == StandJob(opening="made", opening_diameter_mm=30.0)
        maker.chooses("stand.spare", False)
        assert not panel_seen(maker, "stand.spare_depth_mm")
        assert len(maker.told) == 6

    at_the_page(use, "file", "opening")


def test_another_kind_of_mold_lets_go_of_the_seams_that_were_set() -> None:
    def use(maker: Maker) -> None:
        maker.chooses("parting.family", "halves")
        assert maker.job.parting == PartingJob(family="halves")

    at_the_page(use, "seams", job=Job(parting=PartingJob(planes_mm=(40.0,), azimuth_deg=20.0)))


def test_numbers_that_belong_together_go_in_together() -> None:
    def use(maker: Maker) -> None:
        maker.types("target.stretch.zone_mm.0", "30")
        assert any("“taller by”" in line for line in maker.lines("target.stretch.taller_mm"))
        maker.types("target.stretch.taller_mm", "−20")
        assert maker.job == Job()
        maker.types("target.stretch.zone_mm.1", "80")
        assert maker.job.target.stretch == StretchJob(taller_mm=-20.0, zone_mm=(30.0, 80.0))
        for place in ("zone_mm.0", "zone_mm.1"):
            maker.types(f"target.stretch.{place}", "")
        assert maker.job.target.stretch == StretchJob(taller_mm=-20.0)
        maker.types("target.stretch.taller_mm", "")
        assert maker.job == Job()
        assert maker.at("printer.bed_mm.2").props["placeholder"] == "250"
        maker.types("printer.bed_mm.0", "300")
        assert maker.job.printer.bed_mm == (300.0, 220.0, 250.0)
        maker.types("printer.bed_mm.1", "0")
        assert any("Give a number above 0" in line for line in maker.lines("printer.bed_mm.0"))
        assert maker.job.printer.bed_mm == (300.0, 220.0, 250.0)

    at_the_page(use, "size", "print")


def test_one_wrong_number_in_a_row_is_told_while_another_is_typed() -> None:
    def use(maker: Maker) -> None:
        maker.types("cast.trials.minutes", "10")
        maker.types("cast.trials.wall_mm", "99")
        assert any("up to 50 mm" in line for line in maker.lines("cast.trials.minutes"))
        maker.types("cast.trials.minutes", "12")
        assert any("up to 50 mm" in line for line in maker.lines("cast.trials.minutes"))
        maker.types("cast.trials.wall_mm", "3,9")
        assert not any("up to 50 mm" in line for line in maker.lines("cast.trials.minutes"))
        assert maker.job.cast.trials == (Trial(minutes=12.0, wall_mm=3.9),)
        assert len(maker.told) == 1

    at_the_page(use, "cast")


def test_another_job_is_shown_everywhere_and_not_told() -> None:
    job = Job(
        form=FormJob(name="bowl", units="inch", close_openings=True),
        shrinkage=ShrinkageJob(height_bars=(Bar(100.0, 90.0, 95.0),)),
        target=TargetJob(weight_g=300.0),
        pull=PullJob(axes=((1.0, 0.0, -0.5),)),
        cast=CastJob(wall_mm=5.0, water_percent=22.0, trials=(Trial(10.0, 3.9), Trial(15.0, 4.8))),
    )

    def use(maker: Maker) -> None:
        maker.types("cast.wall_mm", "thick")
        maker.goes("The whole form is scaled: to a width")
        maker.controls.set_job(job)
        assert maker.told == []
        assert maker.shown("form.name") == "bowl"
        assert maker.at("form.units").props["value"] == "inch"
        assert maker.at("form.close_openings").props["checked"] is True
        assert [
            maker.shown(f"shrinkage.height_bars.{place}") for place in ("wet_mm", "dry_mm", "fired_mm")
        ] == [
            "100",
            "95",
            "90",
        ]
        assert maker.at("Shrinkage in height: from test bars").props["checked"] is True
        assert maker.at("The whole form is scaled: to a weight").props["checked"] is True
        assert maker.at("The whole form is scaled: to a width").props["checked"] is False
        assert maker.shown("target.weight_g") == "300"
        assert [maker.shown(f"pull.axes.{place}") for place in "012"] == ["1", "0", "-0.5"]
        assert maker.shown("cast.wall_mm") == "5"
        assert "aria-invalid" not in maker.at("cast.wall_mm").props
        assert [maker.shown("cast.trials.wall_mm", row) for row in (0, 1)] == ["3.9", "4.8"]
        with maker.user:
            assert [one.text for one in ElementFilter(content=", 1 changed")] == [", 1 changed"] * 3  # type: ignore[attr-defined]
        maker.controls.set_job(Job())
        assert (maker.shown("cast.wall_mm"), maker.shown("form.name")) == ("", "")
        assert maker.told == []

    at_the_page(use, *SECTIONS, job=Job())


def test_every_key_of_the_job_is_asked_for_once_and_has_a_label() -> None:
    expected = sorted(name for key in every_key() if key not in ELSEWHERE for name in places(key))

    def use(maker: Maker) -> None:
        with maker.user:
            inputs = [one for one in ElementFilter(kind=ui.element) if "data-key" in one.props]
            labelled = {
                one.props["for"]: one
                for one in ElementFilter(kind=ui.element)
                if one.tag == "label" and "for" in one.props
            }
            ids = {one.html_id for one in ElementFilter(kind=ui.element)}
        assert sorted(one.props["data-key"] for one in inputs) == expected
        for one in inputs:
            assert labelled[one.html_id].text.strip(), one.props["data-key"]  # type: ignore[attr-defined]
            assert set(one.props.get("aria-describedby", "").split()) <= ids

    at_the_page(use, *SECTIONS)


@pytest.mark.parametrize("name", get_args(Section))
def test_each_section_has_a_title_and_its_fields(name: Section) -> None:
    assert title(name)
    assert SECTIONS[name].front


def test_more_is_made_once_however_often_it_is_opened() -> None:
    def use(maker: Maker) -> None:
        maker.types("plaster.purity", "0.9")
        maker.does("More: plaster", "toggle")
        with maker.user:
            (only,) = ElementFilter(marker="plaster.purity")
        assert only.value == "0.9"  # type: ignore[attr-defined]

    at_the_page(use, "plaster")


def test_replacing_keys_leaves_all_others() -> None:
    job = Job(cast=CastJob(wall_mm=5.0))
    made = replaced(job, {("cast", "mode"): "solid", ("cottle", "wall_mm"): 40.0})
    assert made == Job(cast=CastJob(wall_mm=5.0, mode="solid"), cottle=CottleJob(wall_mm=40.0))
    differing = [key for key in every_key() if value_at(made, key) != value_at(job, key)]
    assert differing == [("cottle", "wall_mm"), ("cast", "mode")]


def panel_seen(maker: Maker, key: str) -> bool:
    """Whether a field is to be seen, with all that it lies in."""
    one: ui.element | None = maker.at(key)
    while one is not None:
        if not one.visible:
            return False
        one = one.parent_slot.parent if one.parent_slot else None
    return True


def places(key: tuple[str, ...]) -> Iterator[str]:
    """The inputs that a key needs: one, or one for each number of a row."""
    kind, name = type_at(key), ".".join(key)
    items = get_args(kind)
    if len(items) == 2 and items[1] is Ellipsis:
        kind = items[0]
    numbers = (
        [f"{name}.{field.name}" for field in msgspec.structs.fields(kind)]
        if isinstance(kind, type) and issubclass(kind, msgspec.Struct)
        else []
    )
    if key == ("target", "stretch"):
        numbers = [f"{name}.taller_mm", f"{name}.zone_mm.0", f"{name}.zone_mm.1"]
    elif key in {("printer", "bed_mm"), ("pull", "axes")}:
        numbers = [f"{name}.{k}" for k in range(3)]
    yield from numbers or [name]
