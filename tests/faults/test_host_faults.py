"""The host ill while a fill runs through `tarebook run`: the stop is said on time, nothing acknowledged is lost, the
page answers, what is wrong is told. The short form; `tests/faults/run --full` tries each ill alone and many more."""

from __future__ import annotations

import shutil

import pytest
from host_cases import cases, try_case

needs = [each for each in ("gcc", "mosquitto") if not shutil.which(each)]


@pytest.mark.skipif(bool(needs), reason=f"not installed: {' '.join(needs)}")
@pytest.mark.parametrize("case", [case for case in cases() if not case.full_only], ids=lambda case: case.name)
def test_a_fill_on_an_ill_host(case, tmp_path):
    wrong, _ = try_case(case, tmp_path)
    assert not wrong
