"""`moldprep cast` says what the library does, and refuses in one line."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from moldprep.faces.cli import main


def test_the_command_says_what_the_library_does() -> None:
    words = ["cast", "--wall", "5", "--trial", "25/5", "--volume-ml", "1000", "--slip-density", "1.7"]
    words += ["--solids-density", "2.5"]
    found = json.loads(CliRunner().invoke(main, [*words, "--json"]).stdout)
    assert found["minutes"][0] == pytest.approx(25)
    assert found["slip"]["dry_g"] == pytest.approx(1166.7, abs=0.05)
    told = CliRunner().invoke(main, words).stdout
    assert "5 mm take about 25 min" in told and "1167 g of dry clay and 533 g of water" in told
    long = CliRunner().invoke(main, ["cast", "--wall", "41.51834", "--trial", "25/5"]).stdout
    assert long.startswith("41.5 mm take about 1724 min")  # 25 (41.518 / 5)^2


@pytest.mark.parametrize(
    ("words", "cure"),
    [
        (["--trial", "10"], "10/4.2"),
        (["--slip-density", "2.2", "--solids-density", "2", "--volume-ml", "9"], "1.75-1.80"),
        (["--trial", "0/4"], "minutes"),
    ],
)
def test_a_senseless_trial_or_slip_is_refused_in_one_line(words: list[str], cure: str) -> None:
    result = CliRunner().invoke(main, ["cast", *words])
    assert result.exit_code == 2
    assert cure in result.stderr and len(result.stderr.strip().splitlines()) == 1
