"""The page that teaches the chart language is held to the reader."""

import re
from pathlib import Path

import pytest

from undersong.chart.text import parse_song
from undersong.errors import ChartErrors

PAGE = (Path(__file__).parents[2] / "docs" / "charts.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```chart\n(.*?)^```", PAGE, re.DOTALL | re.MULTILINE)
ROWS = re.findall(r"^\| `([^`]+)` \| [^|]* \|([^|\n]*)\|$", PAGE, re.MULTILINE)
HEAD = "Title: T\nKey: G\nTempo: 72\n\n"


def bar(sign: str) -> tuple[object, ...]:
    return parse_song(f"{HEAD}V\n| 1 | {sign} |\n").sections[0].bars[1].events


def test_there_is_something_to_hold() -> None:
    assert len(BLOCKS) >= 4
    assert len(ROWS) >= 15


@pytest.mark.parametrize("block", BLOCKS)
def test_every_chart_on_the_page_reads(block: str) -> None:
    text = block if block.startswith("Title") else HEAD + block
    assert parse_song(text).sections


@pytest.mark.parametrize(("sign", "others"), ROWS)
def test_every_sign_in_the_tables_reads_and_so_do_its_other_spellings(
    sign: str, others: str
) -> None:
    for other in re.findall(r"`([^`]+)`", others):
        if other not in ("1sus2", "1(add9)"):  # named there as another chord
            assert bar(other) == bar(sign)
    assert bar(sign)


@pytest.mark.parametrize("line", ["| 2/4: 5 |", "| pickup 5. | 1 | 4 |", "1 4 (1 5) 1"])
def test_the_lines_in_the_text_read(line: str) -> None:
    assert line in PAGE
    assert parse_song(f"{HEAD}V\n{line}\n").sections


def test_the_mistake_on_the_page_is_said_as_shown() -> None:
    with pytest.raises(ChartErrors) as refused:
        parse_song(HEAD + "V\n| 1 | 9 | 4 |\n")
    assert f"```said\n{refused.value}\n```" in PAGE
