"""The console command as a person or a script meets it."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from logger.cli import COMMANDS, build_parser, main, one_line


def test_without_arguments_it_says_where_to_begin(capsys):
    assert main([]) == 0
    out = capsys.readouterr().out
    assert "tarebook demo" in out and "never in their place" in out


@pytest.mark.parametrize("name", sorted(build_parser()[1]))
def test_every_command_explains_itself(name, capsys):
    with pytest.raises(SystemExit) as ended:
        main([name, "--help"])
    assert ended.value.code == 0
    assert len(capsys.readouterr().out.splitlines()) > 5


def test_help_loads_nothing_heavy():
    heavy = ("numpy", "pint", "flask", "sqlite_utils")
    code = f"import sys, logger.cli as c; c.main([]); print([m for m in {heavy} if m in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines()[-1] == "[]"


def test_a_plan_in_words_and_in_grams(capsys):
    """Common practice, no source: a 22 oz charge from 12 oz containers, the second stopped after 10 oz."""
    arguments = ["plan", "--placard", "22 oz", "--container", "12 oz", "--container", "12 oz"]
    assert main(arguments) == 0
    assert "stop after 283.5 g (10.0 oz) drawn" in capsys.readouterr().out
    assert main([*arguments, "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["containers_needed"] == 2 and plan["containers"][1]["draw_g"] == pytest.approx(283.5, abs=0.01)
    assert plan["containers"][1]["gross_stop_g"] is None


def test_a_plan_counts_the_hose_and_the_reading_to_stop_at(capsys):
    weighed = ["--container", "340 g gross 520 g", "--container", "340 g tare 180 g"]
    assert main(["plan", "--placard", "620 g +/- 15 g", *weighed, "--hose-ml", "58", "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["to_draw_g"] == pytest.approx(620 + plan["hose_allowance_g"], abs=0.01)
    assert plan["hose_if_liquid_g"] == pytest.approx(70, abs=0.2)
    assert plan["containers"][1]["gross_stop_g"] == pytest.approx(520 - (plan["to_draw_g"] - 340), abs=0.02)


@pytest.mark.parametrize(
    ("arguments", "names"),
    [
        (["plan", "--placard", "much", "--container", "12 oz"], "much"),
        (["plan", "--placard", "22 oz", "--container", "12"], "12"),
        (["plan", "--placard", "22 oz", "--container", "12 oz", "--hose-ml", "-3"], "hose"),
        (["plan", "--placard", "22 oz", "--container", "12 oz", "--refrigerant", "R-0"], "R-0"),
        (["replay", "no-such-recording.zip"], "no-such-recording.zip"),
    ],
)
def test_unusable_input_is_one_line_and_exit_2(arguments, names, capsys):
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == "" and names in err and len(err.splitlines()) == 1 and "Traceback" not in err


@pytest.mark.parametrize("arguments", [["plan", "--plackard", "22 oz"], ["plam"], ["plan", "--hose-ml", "x"]])
def test_wrong_arguments_are_one_line_and_exit_2(arguments, capsys):
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "--help" in line


def test_an_error_of_the_system_names_its_file():
    assert (
        one_line(FileNotFoundError(2, "No such file or directory", "cart.toml"))
        == "cart.toml: No such file or directory"
    )
    assert one_line(ValueError("first\n  second")) == "first second"


def test_a_reader_that_leaves_is_no_fault():
    command = f"{sys.executable} -m logger.cli plan --placard '22 oz' --container '12 oz' | head -1"
    ran = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, text=True)
    assert ran.returncode == 0 and ran.stderr == "" and len(ran.stdout.splitlines()) == 1


def test_every_command_module_is_registered():
    import pkgutil

    import logger.commands

    assert {module.name for module in pkgutil.iter_modules(logger.commands.__path__)} == set(COMMANDS)
