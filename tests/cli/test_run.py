"""What every command has in common: help, version, exit codes, errors of ours, a reader that goes away."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import upmast as package

OPTIONS = {
    "start": ("folder", "--radios", "--yes", "--column", "--model", "--skip-faulty", "--stand-in-antennas", "--catalogue", "--json"),
    "plan": ("folder", "--dry-run", "--replace", "--all", "--catalogue", "--json"),
    "prove": ("folder", "--all", "--built", "--catalogue", "--json"),
    "explain": ("key", "--folder", "--json", "--catalogue"),
    "pack": ("folder", "--check", "--json", "--catalogue"),
    "judge": ("files", "--folder", "--test", "--pictures", "--repair", "--json", "--catalogue"),
}  # fmt: skip


@pytest.mark.parametrize("command", OPTIONS)
def test_help_names_every_option(upmast, command):
    ran = upmast(command, "--help")
    assert ran.code == 0
    assert ran.err == ""
    for option in OPTIONS[command]:
        assert option in ran.out


def test_help_lists_every_command_and_the_exit_codes(upmast):
    ran = upmast("--help")
    assert ran.code == 0
    for command in OPTIONS:
        assert f"  {command} " in ran.out
    assert "3 not judged" in ran.words


def test_version(upmast):
    assert upmast("--version") == (0, f"upmast {package.__version__}\n", "")


@pytest.mark.parametrize("arguments", [("fly",), ("prove", "--fly"), ("explain",), ("judge",), ("start",)])
def test_wrong_use_ends_with_two_and_changes_nothing(upmast, arguments, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ran = upmast(*arguments)
    assert ran.code == 2
    assert "Traceback" not in ran.err
    assert ran.err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("json", [(), ("--json",)])
def test_an_error_of_ours_says_so(upmast, demo, monkeypatch, json):
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a slip of ours")

    monkeypatch.setattr("upmast.proof.prove.prove", broken)
    ran = upmast("prove", demo, *json)
    assert ran.code == 70
    assert "This is an error of upmast, not of your files. Please report it" in ran.err
    assert "ZeroDivisionError: a slip of ours" in ran.err
    if json:
        assert ran.data == {"error": "internal", "message": "a slip of ours"}


def test_stopped_from_the_keyboard(upmast, demo, monkeypatch):
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("upmast.proof.prove.prove", stopped)
    ran = upmast("prove", demo)
    assert ran.code == 130
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("arguments", [("prove", "--all"), ("prove", "--json"), ("prove", "--help")])
def test_a_reader_that_has_gone(demo: Path, arguments: tuple[str, ...]):
    """`upmast prove | head`: neither 'something fails' nor a traceback."""
    reading, writing = os.pipe()
    os.close(reading)
    try:
        words = [sys.executable, "-m", "upmast", *arguments]
        if arguments[-1] != "--help":
            words.append(str(demo))
        ended = subprocess.run(words, stdout=writing, stderr=subprocess.PIPE, timeout=60, check=False)
    finally:
        os.close(writing)
    assert ended.returncode == 130
    assert ended.stderr == b""
