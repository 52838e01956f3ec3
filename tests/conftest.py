"""Fixtures that several rooms share; stands here so that every test can import `strategies`."""

from __future__ import annotations

import pytest

from doors import Said, Undersong
from undersong.cli.main import main


@pytest.fixture
def undersong(capsys: pytest.CaptureFixture[str]) -> Undersong:
    """Run a command: words in, status and text out."""

    def run(*words: object) -> Said:
        try:
            status = main([str(word) for word in words])
        except SystemExit as stop:  # argparse leaves this way
            status = int(stop.code or 0)
        out, err = capsys.readouterr()
        return Said(status, out, err)

    return run
