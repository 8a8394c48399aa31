"""Numbers as they are typed and shown, for every number of the job."""

from __future__ import annotations

import ast
import inspect
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from moldprep import job as jobs
from moldprep.faces.page.asking.figures import Figure, Wrong, figure_at, readings, split_list
from moldprep.faces.page.asking.keys import docs, every_key, item_type, type_at, usual
from moldprep.faces.page.asking.sections import SECTIONS
from moldprep.faces.page.units import Units

MM, INCH = Units(), Units(inch=True)


def is_number(kind: Any) -> bool:
    return any(
        isinstance(msgspec.inspect.type_info(kind), number)
        for number in (msgspec.inspect.FloatType, msgspec.inspect.IntType)
    )


NUMBERS = [key for key in every_key() if is_number(item_type(type_at(key)) or type_at(key))]


@pytest.mark.parametrize("part", jobs.Job.__struct_fields__)
def test_ranges_are_told_and_hold(part: str) -> None:
    """A range has two ends or none; an end that belongs to it is taken, one that does not is refused and told."""
    for key in (key for key in NUMBERS if key[0] == part):
        figure = figure_at(key)
        limits: Any = msgspec.inspect.type_info(figure.type)
        least, most = (
            limits.gt if limits.ge is None else limits.ge,
            limits.lt if limits.le is None else limits.le,
        )
        assert (least is None) == (most is None), key
        if least is None:
            assert figure.span(MM) == ""
            continue
        assert figure.text(least, INCH) in figure.span(INCH)
        assert figure.with_unit(most, INCH) in figure.span(INCH)
        taken = [end for end in (limits.ge, limits.le) if end is not None]
        refused = [end for end in (limits.gt, limits.lt) if end is not None] + [least - 1, most + 1]
        for end in taken:
            assert figure.read(str(end), MM) == end, key
            assert figure.read(figure.text(end, INCH), INCH) == pytest.approx(end, rel=5e-3), (
                key
            )  # three digits
        for end in refused:
            with pytest.raises(Wrong, match="number") as told:
                figure.read(str(end), MM)
            assert figure.span(MM) in str(told.value)


@given(value=st.floats(0.01, 1e5), inch=st.booleans())
def test_what_is_shown_reads_as_nearly_the_same(value: float, inch: bool) -> None:
    figure, units = Figure(jobs.Positive, "mm", length=True), Units(inch)
    assert figure.read(figure.text(value, units), units) == pytest.approx(value, rel=5e-3, abs=1e-3)


@given(value=st.floats(0.01, 1e4))
def test_a_decimal_comma_is_a_decimal_point(value: float) -> None:
    typed = f"{value:.2f}"
    assert readings(typed.replace(".", ",")) == (float(typed),)


@pytest.mark.parametrize(
    ("typed", "inch", "mm"),
    [
        ("38.1", False, 38.1),
        ("1 1/2", True, 38.1),
        ('1.5"', False, 38.1),
        ("3,81 cm", True, 38.1),
        ("38.1mm", True, 38.1),
    ],
)
def test_a_length_may_name_its_unit(typed: str, inch: bool, mm: float) -> None:
    assert Figure(jobs.Positive, "mm", length=True).read(typed, Units(inch)) == mm


@pytest.mark.parametrize("typed", ["", "12 parsecs", "1e3", "nan", "inf", "--1", "1/0", "1.2.3", "०", "1 2"])
def test_what_is_no_number_is_refused(typed: str) -> None:
    with pytest.raises(Wrong, match="Give a number above 0 and up to 100000 mm"):
        Figure(jobs.Positive, "mm", length=True).read(typed, MM)


def test_a_list_with_a_comma_that_may_part_is_refused() -> None:
    for typed in ("160,200", "1,2,3", "100 160,2005"):
        with pytest.raises(Wrong, match="two ways"):
            split_list(typed)


def test_helps_come_from_the_job_where_the_page_has_no_words_of_its_own() -> None:
    tree = ast.parse(inspect.getsource(jobs))
    said = {
        node.value.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    flat = {" ".join(text.split()) for text in said if isinstance(text, str)}
    assert set(docs().values()) <= flat
    assert docs()["plaster", "scale_step_g"] == "Weights are rounded up to the scale's step."
    asked = [
        ask for section in SECTIONS.values() for ask in (*section.front, *section.more) if hasattr(ask, "key")
    ]
    by_job = [ask for ask in asked if ask.help is None]
    assert by_job
    for ask in by_job:
        assert ask.help_text == docs().get(ask.key, "")


def test_every_key_has_a_default_that_it_may_have() -> None:
    for key in NUMBERS:
        default = usual(key)
        for value in default if isinstance(default, tuple) else (default,):
            if value is not None:
                figure = figure_at(key)
                assert figure.read(figure.text(value, MM), MM) == value
